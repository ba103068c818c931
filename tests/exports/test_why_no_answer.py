"""Why nobody answered who was asked, in every file; and by which ways staff tried to reach the patient."""

from datetime import UTC, date, datetime, time, timedelta

import pytest
from sqlalchemy.orm import Session

from server.models import ContactAttempt, FieldChange, Gate, GateFetch, Link, Message
from tests.exports.clinic import SURGERY, Exporter, add_patient
from tests.storehouse import NOW, TODAY, add_account, add_follow_up, add_operation, add_timepoint

pytestmark = pytest.mark.parametrize("database_url", ["sqlite"], indirect=True)

YEAR_1 = date(2025, 5, 10)
SILENCES = {
    "Y-0001": ({"last_try": "declined"}, "declined"),
    "Y-0002": ({"last_try": "too_ill"}, "too_ill"),
    "Y-0003": ({"last_try": "language"}, "language"),
    "Y-0004": ({"last_try": "no_device"}, "no_device"),
    "Y-0005": ({"last_try": "left_message"}, "opened_not_finished"),
    "Y-0006": ({}, "lost"),
    "Y-0007": ({"last_try": "message"}, "no_answer"),
}


def fetch(session: Session, patient_id: int, on: date) -> None:
    """The patient's phone fetched what was due that day."""
    known, at = b"lookup", datetime.combine(on, time(9), UTC)
    session.add(Link(patient_id=patient_id, lookup_hash=known, made_at=at))
    session.add(Gate(lookup_hash=known, handle="h", state="due", revision=1))
    session.flush()
    session.add(GateFetch(lookup_hash=known, revision=1, fetched_at=at))


def seven_silent(exporter: Exporter) -> None:
    with exporter.store.writing() as session:
        for number, (tried, _reason) in SILENCES.items():
            lost_on = date(2024, 8, 1) if number == "Y-0006" else None
            patient = add_patient(session, number, lost_on=lost_on)
            follow_up = add_follow_up(session, add_operation(session, patient, surgery_on=SURGERY))
            add_timepoint(session, follow_up, "year-1", due_on=YEAR_1, asked_on=YEAR_1, **tried)
            if number == "Y-0005":
                fetch(session, patient.id, YEAR_1 + timedelta(days=3))
    exporter.export()


def test_a_missed_form_says_why_no_answer_came(exporter: Exporter) -> None:
    seven_silent(exporter)
    expected = [reason for _tried, reason in SILENCES.values()]
    schedule, wide = exporter.rows("schedule.csv"), exporter.rows("wide.csv")
    assert {row["status"] for row in schedule} == {row["missing"] for row in schedule} == {"missed"}
    assert [row["status_reason"] for row in schedule] == expected
    assert [row["status_reason"] for row in exporter.long("form")] == expected
    assert [row["y1_reason"] for row in wide] == expected
    missed = [row["reason"] for row in exporter.rows("flow.csv") if row["step"] == "missed"]
    assert missed == sorted(expected)


def test_what_the_reason_was_found_from_stands_beside_it(exporter: Exporter) -> None:
    seven_silent(exporter)
    schedule = exporter.rows("schedule.csv")
    assert [row["last_try"] for row in schedule] == [
        "declined", "too_ill", "language", "no_device", "left_message", "", "message",
    ]  # fmt: skip
    assert [row["fetched_on"] for row in schedule] == ["", "", "", "", "2025-05-13", "", ""]
    assert {row["asked_on"] for row in schedule} == {YEAR_1.isoformat()}


def test_tries_are_counted_by_their_way_and_those_to_the_second_contact_apart(exporter: Exporter) -> None:
    ways = ["telephone", "telephone", "letter", "in_person", "email", "sms"]
    with exporter.store.writing() as session:
        patient, nurse = add_patient(session), add_account(session)
        follow_up = add_follow_up(session, add_operation(session, patient, surgery_on=SURGERY))
        row = add_timepoint(session, follow_up, "year-2", due_on=TODAY)
        tried = {"patient_id": patient.id, "by_id": nurse.id, "at": NOW, "result": "no_answer"}
        for number, way in enumerate(ways):  # one about all that is open counts for each
            session.add(ContactAttempt(timepoint_id=row.id if number else None, channel=way, **tried))
        session.add(ContactAttempt(timepoint_id=row.id, channel="telephone", to_second_contact=True, **tried))
    exporter.export()
    (found,) = exporter.rows("schedule.csv")
    names = ("telephone", "letter", "in_person", "email", "sms", "second_contact")
    assert [found[f"tries_{name}"] for name in names] == ["2", "1", "1", "1", "1", "1"]
    assert found["calls"] == "7"


def test_a_form_that_asked_about_the_other_shoulder_is_no_silence_and_nobody_s_absence(exporter: Exporter) -> None:
    with exporter.store.writing() as session:
        operation = add_operation(session, add_patient(session), surgery_on=SURGERY)
        row = add_timepoint(session, add_follow_up(session, operation), "year-1", due_on=YEAR_1)
        at = datetime.combine(YEAR_1, time(9), UTC)
        sent = {"step": "invitation", "channel": "email", "outcome": "sent"}
        session.add(Message(timepoint_id=row.id, made_at=at, done_at=at, **sent))
        session.add(
            FieldChange(table_name="operation", row_id=operation.id, field="side", old="right", new="left", at=NOW)
        )
    exporter.export()
    (found,) = exporter.rows("schedule.csv")
    reason = "asked_about_other_side"
    assert (found["status"], found["status_reason"], found["missing"]) == ("never_asked", reason, reason)
