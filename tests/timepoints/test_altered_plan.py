"""A plan whose bytes were altered in the database: no follow-up starts with it, those that run stand still, everybody else goes on."""

import hashlib
from collections.abc import Mapping
from datetime import timedelta
from typing import Any

import pytest
from sqlalchemy import select, update

from server.clinic.entries import ShoulderEntry
from server.clinic.leaving import patient_died
from server.clinic.surgery import surgery_done, surgery_moved
from server.intake.hold import release
from server.jobs.clock import send, tick
from server.models import Envelope, FollowUp, InstalledPlan, Message, Patient, Response, Timepoint
from server.staff.page.unusable_plans import unusable_plans
from server.timepoints.plan_install import PlanRefused
from server.timepoints.plans import ALTERED, NOT_READ, PlanUnusable, read_plans
from tests.clinic_case import Case
from tests.stranger import Stranger, best
from tests.timepoints.making import alter, choose, install, plan_file, restore

pytestmark = pytest.mark.parametrize("database_url", ["sqlite"], indirect=True, scope="module")


@pytest.fixture
def two(case: Case) -> tuple[int, int]:
    """Ada by the clinic's own plan, Bo by the standard one; both one year after surgery. The default is the clinic's own."""
    bo = case.enrol(first_name="Bo", last_name="Berry", email="bo@patient.example")
    install(case, plan_file(), default=True)
    return case.enrol(), bo


def messages(case: Case) -> list[int]:
    """Of whom, in the order in which they were made."""
    with case.store.reading() as session:
        rows = select(Timepoint.patient_id).join(Message, Message.timepoint_id == Timepoint.id).order_by(Message.id)
        return list(session.scalars(rows))


def sheet_of(case: Case, patient_id: int) -> list[dict[str, Any]]:
    case.publish(patient_id)
    phone = case.phone(patient_id)
    phone.fetch()
    return list(phone.sheet["forms"]) if phone.sheet else []


def answer(case: Case, phone: Stranger) -> None:
    phone.send(phone.seal(phone.payload(phone.sheet["forms"][0], best, case.now)))


def fetched(case: Case, patient_id: int) -> Stranger:
    case.publish(patient_id)
    phone = case.phone(patient_id)
    phone.fetch()
    return phone


def test_no_follow_up_starts_with_it_and_a_person_is_told(case: Case, two: tuple[int, int]) -> None:
    alter(case)
    with pytest.raises(
        PlanUnusable, match="the plan harbour@1 cannot be used: its bytes in the database are no longer"
    ):
        case.enrol(first_name="Cy", email="cy@patient.example")
    with pytest.raises(PlanRefused, match="harbour@1 cannot be used"):
        choose(case, "harbour@1")
    with case.store.reading() as session:
        (found,) = unusable_plans(session)
        assert (found.name, found.why, found.running) == ("harbour@1", ALTERED, 1)
    assert choose(case, "standard@1")
    assert case.enrol(first_name="Cy", email="cy@patient.example")


def test_its_forms_leave_the_sheet_and_those_of_others_stay(case: Case, two: tuple[int, int]) -> None:
    ada, bo = two
    assert len(sheet_of(case, ada)) == len(sheet_of(case, bo)) == 1
    alter(case)
    case.publish(ada)
    assert case.phone(ada).fetch()[1]["state"] == "nothing_due"
    assert len(sheet_of(case, bo)) == 1


def test_nobody_is_reminded_by_it_and_everybody_else_is(case: Case, two: tuple[int, int]) -> None:
    ada, bo = two
    alter(case)
    report = tick(case.runtime)
    assert (report.failed, messages(case)) == (1, [bo])
    restore(case, plan_file())
    assert (tick(case.runtime).failed, messages(case)) == (0, [bo, ada])


def test_a_message_that_waits_stays_back_and_comes_when_the_plan_is_back(case: Case, two: tuple[int, int]) -> None:
    ada, bo = two
    tick(case.runtime)
    assert sorted(messages(case)) == sorted(two)
    alter(case)
    assert (send(case.runtime), messages(case)) == (1, [bo])
    restore(case, plan_file())
    tick(case.runtime)
    assert (send(case.runtime), messages(case)) == (1, [bo, ada])


def test_answers_are_held_and_recorded_once_the_plan_is_back(case: Case, two: tuple[int, int]) -> None:
    ada, bo = (fetched(case, patient_id) for patient_id in two)
    alter(case)
    answer(case, ada)
    answer(case, bo)
    taken = case.process()
    assert (taken.recorded, taken.held) == (1, 1)
    with case.store.writing() as session:
        held = session.scalars(select(Envelope).where(Envelope.state == "held")).one()
        assert (held.held_reason, "harbour@1" in (held.held_detail or "")) == ("plan_unusable", True)
        release(session, held, now=case.now)
    assert case.process().held == 1
    restore(case, plan_file())
    with case.store.writing() as session:
        release(session, session.scalars(select(Envelope).where(Envelope.state == "held")).one(), now=case.now)
    assert case.process().recorded == 1
    with case.store.reading() as session:
        assert set(session.scalars(select(Response.patient_id))) == set(two)


def test_a_death_is_noted_all_the_same(case: Case, two: tuple[int, int]) -> None:
    alter(case)
    with case.store.writing() as session:
        ada = session.get_one(Patient, two[0])
        patient_died(session, ada, case.today, now=case.now, today=case.today, by_id=None)
    with case.store.reading() as session:
        (follow_up,) = session.scalars(select(FollowUp).where(FollowUp.plan_id == "harbour"))
        assert (follow_up.ended_on, follow_up.end_reason) == (case.today, "died")
        assert {row.not_expected_reason for row in follow_up.timepoints} == {"died"}


def test_a_day_of_surgery_is_noted_and_its_timepoints_come_when_the_plan_is_back(case: Case) -> None:
    install(case, plan_file(), default=True)
    patient_id = case.enrol(ShoulderEntry(side="left", surgery_planned_on=case.today + timedelta(days=30)))
    alter(case)
    known: dict[str, Any] = {"now": case.now, "today": case.today, "by_id": None}
    with case.store.writing() as session:
        operation = session.get_one(Patient, patient_id).shoulders[0].operations[0]
        surgery_moved(session, operation, case.today + timedelta(days=2), **known)
        surgery_done(session, operation, case.today, **known)
    tick(case.runtime)
    assert codes(case) == ["baseline"]
    restore(case, plan_file())
    tick(case.runtime)
    assert codes(case) == ["baseline", "week-6", "year-1"]


def codes(case: Case) -> list[str]:
    with case.store.reading() as session:
        return list(session.scalars(select(Timepoint.code).order_by(Timepoint.opens_on, Timepoint.code)))


def test_a_plan_whose_hash_was_altered_too_must_still_be_the_plan_of_its_name(case: Case) -> None:
    install(case, plan_file())

    def unusable_with(content: bytes) -> Mapping[str, str]:
        values = {"content": content.decode(), "sha256": hashlib.sha256(content).digest()}
        with case.store.writing() as session:
            session.execute(update(InstalledPlan).values(**values))
        with case.store.reading() as session:
            return read_plans(session).unusable

    assert unusable_with(plan_file("other")) == {"harbour@1": ALTERED}
    assert unusable_with(b'{"id": "harbour"}') == {"harbour@1": NOT_READ}


def test_it_is_not_installed_over(case: Case) -> None:
    install(case, plan_file())
    alter(case)
    with pytest.raises(PlanRefused, match="its bytes in the database were altered since"):
        install(case, plan_file())
