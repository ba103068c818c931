"""An operation, or a whole record, that was entered in error counts nowhere, and counts again once it is brought back."""

from datetime import date
from typing import Any

import pytest
from sqlalchemy.orm import Session

from server.clinic.components import in_the_shoulder
from server.clinic.contradiction import Contradiction
from server.clinic.entered_in_error import (
    bring_back_enrolment,
    bring_back_operation,
    take_back_enrolment,
    take_back_operation,
)
from server.clinic.entries import ShoulderEntry
from server.clinic.events import may_be_recorded_as, record_event, recorded_as
from server.clinic.log import enrolled_after_all, log_line, log_operation
from server.clinic.misplaced import Act
from server.clinic.operation_entry import ComponentsEntry
from server.clinic.recall import Wanted, carriers
from server.fields.field import Value
from server.models import Operation, Patient, StaffAccount, Timepoint
from server.queries.coverage import read_lines
from server.queries.current import waits_for_answer
from server.queries.facts import status_of
from server.queries.last_known import last_known_of
from server.schedule.last_known import State
from tests.clinic.cast import DONE, Desk, but, with_shoulders
from tests.clinic.test_operation_entry import HEAD, at, correct, enter, put
from tests.storehouse import NOW, TODAY, add_account

on_sqlite = pytest.mark.parametrize("database_url", ["sqlite"], indirect=True, scope="module")
# The second of what had closed before the enrolment: nobody was to be asked about it anyhow.
NOTHING_EXPECTED = {"not_expected", "never_asked"}
RECENT = but(DONE, surgery_on=date(2026, 5, 4))


def act(session: Session) -> Act:
    there = session.query(StaffAccount).first()
    return Act("entered for a test", NOW, TODAY, (there or add_account(session)).id)


def figures(session: Session, patient: Patient) -> dict[str, Any]:
    """What counts of a patient: coverage, the recall list, what waits for an answer, statuses, what is in the shoulder, last known."""
    session.flush()
    of_patient = session.query(Timepoint).filter(Timepoint.patient_id == patient.id)
    known = last_known_of(session, patient, TODAY)
    return {
        "coverage": [(line.enrolled, line.surgery_on) for line in read_lines(session)],
        "recall": [(each.operation.id, each.place, each.taken_out_on) for each in carriers(session, Wanted(lot="L-1"))],
        "waits": of_patient.filter(waits_for_answer(TODAY)).count(),
        "expected": [row.code for row in of_patient if status_of(row, TODAY) not in NOTHING_EXPECTED],
        "in it": [each.lot for shoulder in patient.shoulders for each in in_the_shoulder(session, shoulder)],
        "last implant": {side: each.on for side, each in known.implant.items()},
    }


def revised(session: Session, desk: Desk) -> tuple[Patient, Operation, Operation]:
    patient = desk.enrol(session, with_shoulders(DONE))
    first = patient.shoulders[0].operations[0]
    correct(session, first, put(HEAD))
    revision = enter(session, patient, HEAD | {"lot": "L-2"}, out=(first.put_in[0].id,), kind="revision")
    return patient, first, revision


def test_an_operation_entered_in_error_counts_nowhere_and_counts_again(desk: Desk) -> None:
    with desk.store.writing() as session:
        patient, first, revision = revised(session, desk)
        with_it = figures(session, patient)
        assert with_it["in it"] == ["L-2"] and len(with_it["coverage"]) == 2
        take_back_operation(session, revision, act(session))
        without = figures(session, patient)
        assert without["coverage"] == [(True, first.surgery_on)]
        assert without["in it"] == ["L-1"], "what it took out is in the shoulder after all"
        assert [each[0] for each in without["recall"]] == [first.id]
        assert without["last implant"] == {"left": first.surgery_on}
        statuses = {str(status_of(row, TODAY)) for row in revision.follow_ups[0].timepoints}
        assert "not_expected" in statuses and statuses <= NOTHING_EXPECTED
        assert patient.shoulders[0].operations == [first]
        bring_back_operation(session, revision, act(session))
        assert figures(session, patient) == with_it


@on_sqlite
def test_a_reported_operation_is_open_again_when_the_one_that_it_was_linked_to_was_the_error(desk: Desk) -> None:
    told: dict[str, Value] = {
        "kind": "operated_again", "happened_on": TODAY, "certainty": "confirmed", "source_kind": "other_hospital",
        "judged_by": "Nora Nurse", "judged_on": TODAY,
    }  # fmt: skip
    with desk.store.writing() as session:
        patient, _first, wrong = revised(session, desk)
        event = record_event(session, patient.shoulders[0], told, now=NOW, today=TODAY, by_id=None)
        recorded_as(session, event, wrong, now=NOW, by_id=None)
        take_back_operation(session, wrong, act(session))
        session.expire_all()
        assert last_known_of(session, patient, TODAY).implant["left"].state == State.OPERATED_NOT_RECORDED
        right = enter(session, patient, kind="revision", surgery_on=date(2026, 4, 2), desk=at(checked=True))
        assert may_be_recorded_as(event, right)
        recorded_as(session, event, right, now=NOW, by_id=None)
        assert event.recorded_as is right and not may_be_recorded_as(event, right)


@on_sqlite
def test_its_number_on_the_shoulder_is_never_given_again(desk: Desk) -> None:
    with desk.store.writing() as session:
        patient, first, revision = revised(session, desk)
        take_back_operation(session, revision, act(session))
        again = enter(session, patient, out=(first.put_in[0].id,), kind="revision", surgery_on=date(2026, 4, 2))
        assert (revision.position, again.position) == (2, 3)


@on_sqlite
@pytest.mark.parametrize("build", ["later", "stage", "component"])
def test_what_stands_keeps_what_it_builds_on(desk: Desk, build: str) -> None:
    with desk.store.writing() as session:
        patient, first, revision = revised(session, desk)
        wanted, says = first, "Later operations on this shoulder build on this one"
        if build == "stage":
            out_there = ComponentsEntry(taken_out=frozenset({first.put_in[0].id}))
            correct(
                session, revision, out_there, stage="first_of_two", procedure="spacer", why="a second one is planned"
            )
            out = (revision.put_in[0].id,)
            enter(session, patient, out=out, kind="second_stage", surgery_on=date(2026, 5, 4), procedure="reverse")
            wanted, says = revision, "A second stage completes this operation"
        if build == "component":
            out = (revision.put_in[0].id,)
            enter(session, patient, out=out, kind="revision", surgery_on=date(2026, 5, 4))
            wanted, says = revision, "A later operation took out a component"
        with pytest.raises(Contradiction, match=says):
            take_back_operation(session, wanted, act(session))
        assert wanted.taken_back_at is None


@on_sqlite
def test_one_that_contradicts_what_was_entered_meanwhile_is_not_brought_back(desk: Desk) -> None:
    with desk.store.writing() as session:
        patient = desk.enrol(session, with_shoulders(DONE))
        first = patient.shoulders[0].operations[0]
        take_back_operation(session, first, act(session))
        enter(session, patient, kind="index", surgery_on=date(2025, 7, 1))
        with pytest.raises(Contradiction, match="This shoulder has its first operation"):
            bring_back_operation(session, first, act(session))


@on_sqlite
def test_a_record_enrolled_in_error_counts_nowhere_and_counts_again(desk: Desk) -> None:
    with desk.store.writing() as session:
        patient = desk.enrol(session, with_shoulders(RECENT))
        before = figures(session, patient)
        assert before["coverage"] and before["recall"] and before["expected"] and before["waits"]
        take_back_enrolment(session, patient, act(session))
        without = figures(session, patient)
        assert (without["coverage"], without["recall"], without["waits"], without["expected"]) == ([], [], 0, [])
        bring_back_enrolment(session, patient, act(session))
        assert figures(session, patient) == before


@on_sqlite
def test_a_line_of_the_log_counts_again_when_its_enrolment_was_the_error(desk: Desk) -> None:
    on = RECENT.values["surgery_on"]
    with desk.store.writing() as session:
        patient = desk.enrol(session, with_shoulders(RECENT))
        values: dict[str, Any] = {"surgery_on": on, "side": "left", "not_enrolled_reason": "declined"}
        line = log_operation(session, values, now=NOW, today=TODAY, by_id=None)
        enrolled_after_all(session, line, patient.shoulders[0].operations[0], now=NOW, by_id=None)
        assert [each.enrolled for each in read_lines(session)] == [True]
        take_back_enrolment(session, patient, act(session))
        assert [each.enrolled for each in read_lines(session)] == [False]
        assert log_line(session, str(line.id)) is line
        right = desk.enrol(session, with_shoulders(RECENT)).shoulders[0].operations[0]
        enrolled_after_all(session, line, right, now=NOW, by_id=None)
        assert line.operation_id == right.id and log_line(session, str(line.id)) is None
        assert [each.enrolled for each in read_lines(session)] == [True]


@on_sqlite
def test_a_first_operation_that_is_the_only_one_can_be_replaced(desk: Desk) -> None:
    with desk.store.writing() as session:
        patient = desk.enrol(session, with_shoulders(DONE))
        take_back_operation(session, patient.shoulders[0].operations[0], act(session))
        entry = ShoulderEntry("left", surgery_on=date(2025, 7, 1))
        assert desk.add(session, patient, entry).kind == "index"
