"""Where the calendar could wrong a patient: a planned day that passed, a month that has begun elsewhere, a form already fetched."""

from datetime import UTC, datetime, timedelta
from typing import Any

import pytest
from sqlalchemy import delete, select

from server.clinic.entries import ShoulderEntry
from server.models import Envelope, GateFetch, Operation, Response, Timepoint
from tests.clinic_case import Case
from tests.operated import done_on
from tests.stranger import best

# What is checked is the answer's; test_process.py records on both databases.
pytestmark = pytest.mark.parametrize("database_url", ["sqlite"], indirect=True, scope="module")


def test_a_baseline_after_a_planned_day_that_passed_is_not_recalled_while_surgery_is_not_done(case: Case) -> None:
    planned = case.today + timedelta(days=10)
    phone = case.phone(case.enrol(ShoulderEntry(side="left", surgery_planned_on=planned)))
    case.now += timedelta(days=15)
    phone.fetch()
    phone.send(phone.seal(phone.payload(phone.sheet["forms"][0], best, case.now)))
    case.process()
    with case.store.reading() as session:
        assert session.scalars(select(Response.window_state)).one() == "in"


def test_a_month_that_has_begun_where_the_patient_is_does_not_hold_the_form(case: Case) -> None:
    case.now = datetime(2026, 6, 30, 20, 0, tzinfo=UTC)  # 22:00 in Madrid, the first of July in Auckland
    phone = case.phone(case.enrol())
    phone.fetch()

    def choose(item: dict[str, Any]) -> Any:
        return "2026-07" if item["type"] == "month" else best(item)

    phone.send(phone.seal(phone.payload(phone.sheet["forms"][0], choose, case.now)))
    assert case.process().held == 0


def test_a_form_that_a_phone_has_fetched_survives_a_corrected_surgery_day(case: Case) -> None:
    operated = case.today - timedelta(days=3 * 365)
    patient_id = case.enrol(ShoulderEntry(side="right", surgery_on=operated))
    phone = case.phone(patient_id)
    phone.fetch()
    form = phone.sheet["forms"][0]
    with case.store.writing() as session:
        operation = session.scalars(select(Operation)).one()
        moved = case.today - timedelta(days=20)
        done_on(session, operation, moved, now=case.now, today=case.today)
    with case.store.reading() as session:
        assert form["form_id"] in session.scalars(select(Timepoint.form_id)).all()
    phone.send(phone.seal(phone.payload(form, best, case.now)))
    assert case.process().recorded == 1


def finished_at(case: Case) -> datetime:
    with case.store.reading() as session:
        return session.scalars(select(Response.finished_at)).one()


@pytest.mark.parametrize("revision", [0, 7, 2**31 - 1])
def test_a_sheet_that_was_never_fetched_gives_no_date_before_the_links_first_fetch(case: Case, revision: int) -> None:
    phone = case.phone(case.enrol())
    case.now += timedelta(days=3)
    first = case.now
    phone.fetch()
    payload = phone.payload(phone.sheet["forms"][0], best, case.now)
    case.now += timedelta(days=5)
    phone.send(phone.seal({**payload, "sheet_revision": revision, "finished_at": "1990-06-15T10:00:00.000Z"}))
    assert case.process().recorded == 1
    assert finished_at(case) == first


def test_where_no_fetch_is_recorded_the_date_is_not_before_the_link_was_made(case: Case) -> None:
    made_at = case.now
    phone = case.phone(case.enrol())
    phone.fetch()
    with case.store.writing() as session:
        session.execute(delete(GateFetch))
    case.now += timedelta(days=5)
    payload = phone.payload(phone.sheet["forms"][0], best, case.now)
    phone.send(phone.seal({**payload, "finished_at": "1971-01-01T00:00:00.000Z"}))
    assert case.process().recorded == 1
    assert finished_at(case) == made_at


@pytest.mark.parametrize("at", ["0001-01-01T00:00:00.000Z", "1969-12-31T23:59:59.999Z", "9999-12-31T23:59:59.999Z"])
@pytest.mark.parametrize("member", ["opened_at", "finished_at", "first_at"])
def test_an_instant_outside_the_limits_is_held_and_no_fault(case: Case, at: str, member: str) -> None:
    phone = case.phone(case.enrol())
    phone.fetch()
    payload = phone.payload(phone.sheet["forms"][0], best, case.now)
    where = payload["parts"][-1]["answers"]["1"] if member == "first_at" else payload
    where[member] = at
    phone.send(phone.seal(payload))
    case.process()
    with case.store.reading() as session:
        assert session.scalars(select(Envelope.held_reason)).one() == "answers_not_valid"


@pytest.mark.parametrize("skew", [10**13, -(10**13)])
def test_a_clock_that_is_off_by_the_most_the_protocol_takes_is_clamped(case: Case, skew: int) -> None:
    phone = case.phone(case.enrol())
    phone.fetch()
    for at in ("1970-01-01T00:00:00.000Z", "2099-12-31T23:59:59.999Z"):
        payload = phone.payload(phone.sheet["forms"][0], best, case.now)
        phone.send(phone.seal({**payload, "finished_at": at, "clock_skew_ms": skew}))
    assert case.process().recorded == 2
    with case.store.reading() as session:
        assert set(session.scalars(select(Response.finished_at))) == {case.now}
