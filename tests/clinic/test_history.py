"""One history of changes: who, when, old, new and why; and nothing of it in clear."""

from datetime import date

import pytest
from sqlalchemy import select

from server.clinic import leaving, surgery
from server.clinic.entries import EntryRefused, ShoulderEntry
from server.clinic.history import change_row, read_changes
from server.models import FieldChange, Operation
from server.words.language import Words
from tests.clinic.cast import DONE, PLANNED, Desk, with_shoulders
from tests.operated import done_on, planned_for
from tests.storehouse import NOW, TODAY


def test_a_corrected_day_of_surgery_keeps_the_old_one_and_why(desk: Desk) -> None:
    with desk.store.writing() as session:
        operation = desk.enrol(session, with_shoulders(DONE)).shoulders[0].operations[0]
        done_on(session, operation, date(2025, 6, 19), now=NOW, today=TODAY, why="the theatre's list")
        (change,) = read_changes(session, [("operation", operation.id)], most=10)
    assert (change.label, change.old, change.new) == ("Done on", "2025-06-20", "2025-06-19")
    assert (change.why, change.at, change.by_id) == ("the theatre's list", NOW, None)


def test_moving_cancelling_and_leaving_are_in_the_same_history_newest_first(desk: Desk) -> None:
    with desk.store.writing() as session:
        patient = desk.enrol(session, with_shoulders(PLANNED))
        operation = patient.shoulders[0].operations[0]
        planned_for(session, operation, date(2026, 8, 3), now=NOW, today=TODAY, why="ill")
        surgery.surgery_cancelled(session, operation, TODAY, reason="chose otherwise", now=NOW, today=TODAY, by_id=None)
        leaving.transferred(session, patient, TODAY, now=NOW, today=TODAY, by_id=None)
        found = read_changes(session, [("operation", operation.id), ("patient", patient.id)], most=10)
    assert [(each.field, each.new) for each in found] == [
        ("transferred_on", "2026-06-15"),
        ("cancelled_reason", "chose otherwise"),
        ("cancelled_on", "2026-06-15"),
        ("surgery_planned_on", "2026-08-03"),
    ]


def test_what_is_refused_leaves_no_trace(desk: Desk) -> None:
    with desk.store.writing() as session:
        desk.enrol(session, with_shoulders(DONE))
    with pytest.raises(EntryRefused), desk.store.writing() as session:
        operation = session.scalars(select(Operation)).one()
        done_on(session, operation, date(1949, 1, 1), now=NOW, today=TODAY)
    with desk.store.reading() as session:
        assert session.scalars(select(FieldChange)).all() == []


def test_a_choice_is_told_in_words_and_kept_by_its_code(desk: Desk) -> None:
    with desk.store.writing() as session:
        patient = desk.enrol(session)
        change_row(session, patient, {"sex": "not_recorded", "channel_order": "sms,email"}, now=NOW, by_id=None)
        ways, sex = read_changes(session, [("patient", patient.id)], most=2)
        kept = session.scalars(select(FieldChange.new).order_by(FieldChange.id)).all()
    told = [Words("staff", language).say(each.new) for language in ("en", "es") for each in (sex, ways)]
    assert told[:2] == ["not recorded", "text message (by hand, none is sent), e-mail"]
    assert told[2:] == ["sin anotar", "mensaje de texto (a mano, no se envía ninguno), correo electrónico"]
    assert kept == ["not_recorded", "sms,email"]


def test_a_value_that_stays_the_same_is_no_change(desk: Desk) -> None:
    with desk.store.writing() as session:
        patient = desk.enrol(session)
        values = {"email": "ada@example.org", "phone": "+34 600 000 009"}
        assert change_row(session, patient, values, now=NOW, by_id=None) == ["phone"]


def test_old_and_new_and_why_lie_sealed(desk: Desk) -> None:
    with desk.store.writing() as session:
        patient = desk.enrol(session)
        change_row(session, patient, {"email": "new@example.org"}, now=NOW, by_id=None, why="married Bela")
    with desk.store.engine.connect() as connection:
        row = connection.exec_driver_sql("SELECT field, old, new, why FROM field_change").one()
    assert row[0] == "email"
    stored = b" ".join(bytes(value) for value in row[1:])
    for secret in (b"ada@example.org", b"new@example.org", b"Bela"):
        assert secret not in stored


def test_what_a_later_operation_says_otherwise_of_the_shoulder_keeps_what_was_said_first(desk: Desk) -> None:
    with desk.store.writing() as session:
        patient = desk.enrol(
            session, with_shoulders(ShoulderEntry("right", surgery_on=date(2025, 6, 20), dominant="yes"))
        )
        later = ShoulderEntry("right", kind="other", surgery_on=date(2026, 1, 9), dominant="no")
        desk.add(session, patient, later)
        found = read_changes(session, [("shoulder", patient.shoulders[0].id)], most=10)
    assert [(each.label, each.old, each.new) for each in found] == [("Dominant side", "yes", "no")]
