"""Where the calendar could wrong a patient: a planned day that passed, a month that has begun elsewhere, a form already fetched."""

from datetime import UTC, datetime, timedelta
from typing import Any

from sqlalchemy import select

from server.clinic.entries import ShoulderEntry
from server.clinic.surgery import surgery_done
from server.models import Operation, Response, Timepoint
from tests.clinic_case import Case
from tests.stranger import best


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
        surgery_done(session, operation, moved, now=case.now, today=case.today, by_id=None)
    with case.store.reading() as session:
        assert form["form_id"] in session.scalars(select(Timepoint.form_id)).all()
    phone.send(phone.seal(phone.payload(form, best, case.now)))
    assert case.process().recorded == 1
