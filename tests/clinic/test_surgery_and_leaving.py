"""What happens after enrolment: surgery done, moved, cancelled; revision; death, withdrawal, transfer."""

import hashlib
import json
from collections.abc import Callable
from datetime import UTC, date, datetime
from typing import Any

import pytest
from sqlalchemy import select
from sqlalchemy.orm import Session

from scoring.library import load_library
from server.clinic import leaving, surgery
from server.clinic.contradiction import Contradiction
from server.clinic.entries import EntryRefused, ShoulderEntry
from server.clinic.withdrawal import Wish, withdraw
from server.models import AuditEntry, FollowUp, InstalledPlan, Operation, Patient
from server.queries.clock import the_clinic
from server.queries.coverage import read_lines
from server.queries.facts import standing_of, status_of
from server.schedule.status import Reason
from tests.clinic.cast import DONE, PLANNED, Desk, but, with_shoulders
from tests.operated import done_on, planned_for
from tests.storehouse import NOW, TODAY

pytestmark = pytest.mark.parametrize("database_url", ["sqlite"], indirect=True, scope="module")

KNOWN: dict[str, Any] = {"now": NOW, "today": TODAY, "by_id": None}
YESTERDAY = date(2026, 6, 14)
REVISION = ShoulderEntry(side="left", kind="revision", surgery_on=date(2026, 6, 1), implant_type="anatomic_total")


def withdrew(session: Session, patient: Patient, on: date, **known: Any) -> None:
    """From all contact, as most who withdraw mean it."""
    withdraw(session, patient, on, Wish("contact"), **known)


def their_own() -> InstalledPlan:
    """The standard plan without its years."""
    document = dict(load_library().plans["standard@1"])
    first = [each for each in document["timepoints"] if each["anchor"] != "years"]
    content = json.dumps({**document, "id": "their-own", "timepoints": first})
    sha256 = hashlib.sha256(content.encode()).digest()
    return InstalledPlan(plan_id="their-own", version="1", content=content, sha256=sha256, installed_at=NOW)


def planned(desk: Desk, session: Session) -> Operation:
    """Entered six weeks ago."""
    return desk.enrol(session, with_shoulders(PLANNED), today=date(2026, 5, 1)).shoulders[0].operations[0]


def follow_up_of(operation: Operation) -> FollowUp:
    (found,) = operation.follow_ups
    return found


def codes(operation: Operation) -> list[str]:
    return [row.code for row in follow_up_of(operation).timepoints]


def test_surgery_done_starts_the_timepoints_that_come_after(desk: Desk) -> None:
    with desk.store.writing() as session:
        operation = planned(desk, session)
        done_on(session, operation, YESTERDAY, **KNOWN)
        session.expire_all()
        assert codes(operation) == ["baseline", "week-6", "year-1"]
        assert follow_up_of(operation).timepoints[0].closes_on == YESTERDAY
        assert [line.surgery_on for line in read_lines(session)] == [YESTERDAY]


def test_a_corrected_day_moves_timepoints_and_the_log(desk: Desk) -> None:
    with desk.store.writing() as session:
        operation = planned(desk, session)
        done_on(session, operation, YESTERDAY, **KNOWN)
        done_on(session, operation, date(2026, 6, 10), **KNOWN)
        session.expire_all()
        assert [row.anchor_on for row in follow_up_of(operation).timepoints] == [date(2026, 6, 10)] * 2 + [
            date(2027, 6, 10)
        ]
        assert [line.surgery_on for line in read_lines(session)] == [date(2026, 6, 10)]


def test_a_moved_operation_leaves_only_its_baseline(desk: Desk) -> None:
    with desk.store.writing() as session:
        operation = planned(desk, session)
        for day in (date(2026, 9, 1), None, date(2026, 8, 1)):
            planned_for(session, operation, day, **KNOWN)
        session.expire_all()
        assert (operation.surgery_planned_on, codes(operation)) == (date(2026, 8, 1), ["baseline"])


def test_a_cancelled_operation_ends_its_follow_up(desk: Desk) -> None:
    with desk.store.writing() as session:
        operation = planned(desk, session)
        surgery.surgery_cancelled(session, operation, TODAY, reason="the patient decided against it", **KNOWN)
        follow_up = follow_up_of(operation)
        assert (follow_up.ended_on, follow_up.end_reason) == (TODAY, "cancelled")
        assert {status_of(row, TODAY) for row in follow_up.timepoints} <= {"not_expected"}


def test_an_operation_can_be_cancelled_on_the_clinics_day_of_its_entry(desk: Desk) -> None:
    """Nine in the evening in Chicago is the next day in UTC."""
    with desk.store.writing() as session:
        the_clinic(session).time_zone = "America/Chicago"
        operation = planned(desk, session)
        operation.made_at = datetime(2026, 6, 16, 2, 0, tzinfo=UTC)
        surgery.surgery_cancelled(session, operation, TODAY, reason="", **{**KNOWN, "now": operation.made_at})
        assert operation.cancelled_on == TODAY


def test_a_revision_ends_nothing_and_starts_a_follow_up_of_its_own(desk: Desk) -> None:
    with desk.store.writing() as session:
        patient = desk.enrol(session)
        revision = desk.add(session, patient, REVISION)
        for corrected in (date(2026, 5, 20), date(2026, 6, 10)):
            done_on(session, revision, corrected, **KNOWN)
            assert ends(patient) == [(None, None), (None, None)]
        first = follow_up_of(patient.shoulders[0].operations[0])
        assert "year-2" in {row.code for row in first.timepoints}, "the clock of the first operation goes on"
        assert {row.not_expected_on for row in first.timepoints} == {None}


def ends(patient: Patient) -> list[tuple[date | None, str | None]]:
    follow_ups = (follow_up_of(each) for each in patient.shoulders[0].operations)
    return [(each.ended_on, each.end_reason) for each in follow_ups]


def test_a_withdrawal_ends_both_follow_ups_of_a_revised_shoulder_wherever_the_revision_lies(desk: Desk) -> None:
    with desk.store.writing() as session:
        patient = desk.enrol(session)
        revision = desk.add(session, patient, REVISION)
        withdrew(session, patient, date(2026, 6, 5), **KNOWN)
        done_on(session, revision, date(2026, 6, 10), **KNOWN)
        assert ends(patient) == [(date(2026, 6, 5), "withdrew")] * 2
        done_on(session, revision, date(2026, 6, 2), **KNOWN)
        assert ends(patient) == [(date(2026, 6, 5), "withdrew")] * 2


def test_a_follow_up_keeps_its_own_plan_when_its_dates_change(desk: Desk) -> None:
    """The clinic may give another plan to new patients by now."""
    with desk.store.writing() as session:
        session.add(their_own())
        patient = desk.enrol(session, with_shoulders(DONE, PLANNED), today=date(2026, 5, 1))
        for follow_up in session.scalars(select(FollowUp)):
            follow_up.plan_id = "their-own"
        patient_id = patient.id
    with desk.store.writing() as session:
        patient = session.get_one(Patient, patient_id)
        planned = patient.shoulders[1].operations[0]
        done_on(session, planned, YESTERDAY, **KNOWN)
        desk.add(session, patient, REVISION)
        assert codes(planned) == ["baseline", "week-6"], "their own plan asks nothing later"
        names = {f"{each.plan_id}@{each.plan_version}" for each in session.scalars(select(FollowUp))}
        assert names == {"standard@1", "their-own@1"}, "the revision's own is new"


def test_a_cancelled_revision_leaves_the_running_follow_up_alone(desk: Desk) -> None:
    with desk.store.writing() as session:
        patient = desk.enrol(session)
        revision = desk.add(session, patient, but(REVISION, surgery_on=None))
        surgery.surgery_cancelled(session, revision, TODAY, reason="", **KNOWN)
        assert follow_up_of(patient.shoulders[0].operations[0]).ended_on is None


def test_another_re_operation_changes_no_follow_up(desk: Desk) -> None:
    with desk.store.writing() as session:
        patient = desk.enrol(session)
        other = desk.add(session, patient, but(REVISION, kind="other"))
        assert other.follow_ups == []
        assert follow_up_of(patient.shoulders[0].operations[0]).ended_on is None


@pytest.mark.parametrize(
    ("entry", "field"),
    [
        (but(REVISION, kind="index"), "left_kind"),
        (but(REVISION, side="right"), "right_kind"),
        (but(REVISION, surgery_on=date(2025, 6, 19)), "left_surgery_on"),
    ],
    ids=["a second index operation", "nothing to revise", "before the operation it revises"],
)
def test_an_operation_that_contradicts_earlier_ones_is_refused(desk: Desk, entry: ShoulderEntry, field: str) -> None:
    with pytest.raises(EntryRefused) as refused, desk.store.writing() as session:
        desk.add(session, desk.enrol(session), entry)
    assert list(refused.value.errors) == [field]


@pytest.mark.parametrize(
    ("happened", "column", "reason"),
    [
        (leaving.patient_died, "died_on", "died"),
        (withdrew, "withdrew_on", "withdrew"),
        (leaving.transferred, "transferred_on", "transferred"),
    ],
)
def test_an_end_stops_every_follow_up_of_the_patient(
    desk: Desk, happened: Callable[..., None], column: str, reason: str
) -> None:
    with desk.store.writing() as session:
        patient = desk.enrol(session, with_shoulders(DONE, PLANNED))
        happened(session, patient, YESTERDAY, **KNOWN)
        ends = session.execute(select(FollowUp.ended_on, FollowUp.end_reason)).all()
        assert [tuple(each) for each in ends] == [(YESTERDAY, reason)] * 2
        assert getattr(patient, column) == YESTERDAY
        assert f"patient:{reason}" in set(session.scalars(select(AuditEntry.action)))


def test_withdrawal_ends_consent_to_contact_but_not_to_research(desk: Desk) -> None:
    with desk.store.writing() as session:
        patient = desk.enrol(session)
        withdrew(session, patient, TODAY, **KNOWN)
        assert {each.kind: each.withdrawn_on for each in patient.consents} == {"contact": TODAY, "research": None}


def test_an_operation_entered_after_withdrawal_has_rows_that_are_not_expected(desk: Desk) -> None:
    with desk.store.writing() as session:
        patient = desk.enrol(session)
        withdrew(session, patient, TODAY, **KNOWN)
        revision = desk.add(session, patient, REVISION)
        follow_up = follow_up_of(revision)
        assert (follow_up.ended_on, follow_up.end_reason) == (TODAY, "withdrew")
        after = [row for row in follow_up.timepoints if row.code != "baseline"]
        assert {(row.code, standing_of(row, TODAY).reason) for row in after} == {
            ("week-6", Reason.WITHDREW),
            ("year-1", Reason.WITHDREW),
        }


def test_a_death_known_to_its_year_refuses_no_withdrawal_of_that_year(desk: Desk) -> None:
    with desk.store.writing() as session:
        patient = desk.enrol(session, with_shoulders(DONE))
        patient.died_on, patient.died_precision = date(2026, 1, 1), "year"
        withdrew(session, patient, YESTERDAY, **KNOWN)
        assert patient.withdrew_on == YESTERDAY


Change = Callable[[Session, Patient, Operation], None]


def _done(on: date) -> Change:
    return lambda session, _patient, operation: done_on(session, operation, on, **KNOWN)


def _died(on: date) -> Change:
    return lambda session, patient, _operation: leaving.patient_died(session, patient, on, **KNOWN)


@pytest.mark.parametrize(
    ("change", "says"),
    [
        (_done(date(2026, 6, 16)), "after today"),
        (_done(date(1957, 3, 27)), "before the birth date"),
        (_died(date(2026, 6, 16)), "after today"),
        (_died(date(2025, 6, 19)), "before an operation"),
        (lambda s, p, o: planned_for(s, o, YESTERDAY, **KNOWN), "has passed"),
        (lambda s, p, o: surgery.surgery_cancelled(s, o, date(2026, 6, 16), reason="", **KNOWN), "after today"),
        (
            lambda s, p, o: surgery.surgery_cancelled(s, p.shoulders[0].operations[0], TODAY, reason="", **KNOWN),
            "was done",
        ),
    ],
)
def test_a_change_that_contradicts_what_is_known_is_refused_in_plain_words(
    desk: Desk, change: Change, says: str
) -> None:
    with desk.store.writing() as session:
        patient = desk.enrol(session, with_shoulders(DONE, PLANNED))
        with pytest.raises((Contradiction, EntryRefused), match=says):
            change(session, patient, patient.shoulders[1].operations[0])
        assert not session.dirty
