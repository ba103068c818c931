"""Lost to questionnaires: proposed by rule after two annual windows of silence, dated at the last contact, undone by any answer."""

from collections.abc import Callable
from datetime import UTC, date, datetime, timedelta

import pytest
from sqlalchemy import event, select
from sqlalchemy.orm import Session

from server.clinic.lost import KIND, confirm_lost, propose_lost, undo_by_answers
from server.models import ContactAttempt, Flag, Patient, Timepoint
from server.queries.last_known import last_known_of, last_known_of_all
from server.schedule.last_known import Source
from tests.clinic.cast import Desk
from tests.storehouse import (
    NOW,
    TODAY,
    add_account,
    add_follow_up,
    add_operation,
    add_patient,
    add_response,
    add_timepoint,
)

OPERATED = date(2021, 3, 1)
EXHAUSTED = timedelta(days=60)


def silent(session: Session, **values: str) -> Patient:
    """Operated five years ago; years 4 and 5 are closed, every reminder was sent, nothing came."""
    patient = add_patient(session, **values)
    follow_up = add_follow_up(session, add_operation(session, patient, surgery_on=OPERATED))
    add_timepoint(session, follow_up, "year-3", due_on=date(2024, 3, 1))
    for year in (4, 5):
        due = date(2021 + year, 3, 1)
        add_timepoint(session, follow_up, f"year-{year}", due_on=due, ladder_exhausted_on=due + EXHAUSTED)
    return patient


def rows(session: Session, patient: Patient) -> list[Timepoint]:
    return list(session.scalars(select(Timepoint).where(Timepoint.patient_id == patient.id).order_by(Timepoint.due_on)))


def answer(desk: Desk, session: Session, patient: Patient, timepoint: Timepoint, on: date) -> None:
    by = add_account(session, email=f"n{on.isoformat()}@clinic.example")
    desk.keys.new_patient_key(patient.handle)
    cipher = desk.keys.patient_cipher(patient.handle)
    add_response(session, timepoint, [], cipher=cipher, entered_by=by, on=on, operated_again=False)


def attempt(session: Session, patient: Patient, on: date, result: str, *, second: bool) -> None:
    by = add_account(session, email=f"a{on.isoformat()}@clinic.example")
    at = datetime(on.year, on.month, on.day, 9, tzinfo=UTC)
    tried = ContactAttempt(
        patient_id=patient.id, at=at, by_id=by.id, channel="telephone", result=result, to_second_contact=second
    )
    session.add(tried)
    session.flush()


def test_two_missed_windows_in_a_row_are_proposed_once(desk: Desk) -> None:
    with desk.store.writing() as session:
        patient = silent(session)
        assert (propose_lost(session, now=NOW), propose_lost(session, now=NOW)) == (1, 0)
        flag = session.scalars(select(Flag)).one()
        assert (flag.kind, flag.patient_id, flag.timepoint_id) == (KIND, patient.id, rows(session, patient)[-1].id)
        flag.settled_at = NOW
        assert propose_lost(session, now=NOW) == 0, "somebody has looked since these windows closed"


def one_window_was_answered(desk: Desk, session: Session, patient: Patient) -> None:
    answer(desk, session, patient, rows(session, patient)[-1], date(2026, 3, 1))


def a_reminder_is_still_to_go(_desk: Desk, session: Session, patient: Patient) -> None:
    rows(session, patient)[-1].ladder_exhausted_on = None


def the_window_is_still_open(_desk: Desk, session: Session, patient: Patient) -> None:
    rows(session, patient)[-1].closes_on = TODAY


def something_else_was_answered_meanwhile(desk: Desk, session: Session, patient: Patient) -> None:
    answer(desk, session, patient, rows(session, patient)[0], date(2026, 1, 1))


def the_second_contact_was_never_tried(_desk: Desk, _session: Session, patient: Patient) -> None:
    patient.second_contact = "A sister, 555 0100"


def they_died(_desk: Desk, _session: Session, patient: Patient) -> None:
    patient.died_on = date(2026, 1, 1)


@pytest.mark.parametrize(
    "but",
    [
        one_window_was_answered,
        a_reminder_is_still_to_go,
        the_window_is_still_open,
        something_else_was_answered_meanwhile,
        the_second_contact_was_never_tried,
        they_died,
    ],
)
def test_nobody_is_proposed_where(desk: Desk, but: Callable[[Desk, Session, Patient], None]) -> None:
    with desk.store.writing() as session:
        but(desk, session, silent(session))
        session.flush()
        assert propose_lost(session, now=NOW) == 0


def test_who_has_a_second_contact_is_proposed_once_that_was_tried(desk: Desk) -> None:
    with desk.store.writing() as session:
        patient = silent(session, second_contact="A sister, 555 0100")
        attempt(session, patient, date(2026, 5, 1), "no_answer", second=True)
        assert propose_lost(session, now=NOW) == 1


def test_many_are_asked_about_in_as_many_statements_as_one(desk: Desk) -> None:
    said: list[str] = []
    event.listen(desk.store.engine, "before_cursor_execute", lambda _c, _cursor, statement, *_: said.append(statement))
    counts = []
    with desk.store.writing() as session:
        for number in range(5):
            silent(session, study_number=f"Y-{number:04d}", second_contact="A sister, 555 0100")
            said.clear()
            assert propose_lost(session, now=NOW) == 0, "the second contact was never tried"
            counts.append(len(said))
    assert len(set(counts[1:])) == 1, "the first asks for the clinic as well"


def test_lost_is_dated_at_the_last_contact_and_any_answer_undoes_it(desk: Desk) -> None:
    with desk.store.writing() as session:
        patient = silent(session)
        attempt(session, patient, date(2024, 5, 1), "reached", second=False)
        attempt(session, patient, date(2026, 5, 2), "reached", second=True)
        by = add_account(session, email="who@clinic.example")
        lost_on = confirm_lost(session, patient, why="moved", now=NOW, today=TODAY, by_id=by.id)
        assert lost_on == patient.lost_on == date(2024, 5, 1), "the second contact person is not the patient"
        assert undo_by_answers(session, now=NOW) == 0
        propose_lost(session, now=NOW)
        answer(desk, session, patient, rows(session, patient)[-1], TODAY)
        session.flush()
        assert undo_by_answers(session, now=NOW) == 1
        assert patient.lost_on is None


def test_an_answer_settles_a_proposal_that_waits(desk: Desk) -> None:
    with desk.store.writing() as session:
        patient = silent(session)
        propose_lost(session, now=NOW - timedelta(days=3))
        answer(desk, session, patient, rows(session, patient)[-1], TODAY)
        session.flush()
        undo_by_answers(session, now=NOW)
        assert session.scalars(select(Flag.settled_at)).all() == [NOW]


def test_what_is_recorded_moves_the_three_facts_of_one_patient_and_of_all(desk: Desk) -> None:
    with desk.store.writing() as session:
        patient = silent(session)
        first, *_others = rows(session, patient)
        answer(desk, session, patient, first, date(2024, 3, 2))
        attempt(session, patient, date(2025, 5, 1), "promised", second=False)
        found = last_known_of(session, patient, TODAY)
        assert found.contact is not None and (found.contact.on, found.contact.source) == (date(2025, 5, 1), Source.CALL)
        assert {side: known.on for side, known in found.implant.items()} == {"left": date(2024, 3, 2)}
        assert found.implant_lost("left", OPERATED, TODAY)
        assert last_known_of_all(session, TODAY)[patient.id] == found
