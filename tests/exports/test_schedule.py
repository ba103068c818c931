"""schedule.csv: a row for every planned timepoint, with who was written to and called about it; and what was last known of a patient."""

from datetime import date, datetime, time, timedelta

import pytest

from server.models import ClinicFinding, ContactAttempt, KnownStatus, Message
from tests.exports.clinic import SURGERY, Exporter, add_patient
from tests.storehouse import NOW, TODAY, add_account, add_follow_up, add_operation, add_timepoint


def test_a_timepoint_to_come_and_one_that_is_not_expected_have_their_row(exporter: Exporter) -> None:
    with exporter.store.writing() as session:
        follow_up = add_follow_up(session, add_operation(session, add_patient(session), surgery_on=SURGERY))
        gone = {"not_expected_on": TODAY - timedelta(days=300), "not_expected_reason": "died"}
        add_timepoint(session, follow_up, "year-1", due_on=TODAY - timedelta(days=300), **gone)
        add_timepoint(session, follow_up, "year-2", due_on=TODAY)
        add_timepoint(session, follow_up, "year-3", due_on=TODAY + timedelta(days=350))
    exporter.export()
    rows = exporter.rows("schedule.csv")
    assert [
        (row["timepoint"], row["status"], row["status_reason"], row["eligible"], row["missing"]) for row in rows
    ] == [
        ("year-1", "not_expected", "died", "0", "died"),
        ("year-2", "open", "in_window", "1", "open"),
        ("year-3", "upcoming", "not_yet_open", "1", "upcoming"),
    ]
    assert [row["timepoint"] for row in exporter.long("form")] == ["year-1", "year-2"]


@pytest.mark.parametrize("stage_2_on", [date(2025, 9, 1), None], ids=["the second stage is done", "it is to come"])
def test_a_form_between_the_stages_of_an_exchange_says_so(exporter: Exporter, stage_2_on: date | None) -> None:
    with exporter.store.writing() as session:
        patient = add_patient(session)
        follow_up = add_follow_up(session, add_operation(session, patient, surgery_on=SURGERY))
        removal = add_operation(session, patient, surgery_on=date(2025, 6, 1), kind="revision", stage="first_of_two")
        add_operation(session, patient, surgery_on=stage_2_on, kind="second_stage", first_stage_id=removal.id)
        add_operation(session, patient, "right", surgery_on=SURGERY)
        days = {
            "year-1": date(2025, 5, 31),
            "month-13": date(2025, 6, 1),
            "month-15": date(2025, 8, 31),
            "month-16": date(2025, 9, 1),
        }
        for code, due_on in days.items():
            add_timepoint(session, follow_up, code, due_on=due_on)
    exporter.export()
    found = {row["timepoint"]: row["spacer_in"] for row in exporter.rows("schedule.csv")}
    assert found == {"year-1": "0", "month-13": "1", "month-15": "1", "month-16": "0" if stage_2_on else "1"}
    assert {row["spacer_in"] for row in exporter.long("form")} == {"0", "1"}
    first = exporter.rows("wide.csv")[0]
    assert (first["y1_spacer"], first["m15_spacer"]) == ("0", "1")


@pytest.mark.parametrize("database_url", ["sqlite"], indirect=True)
def test_messages_and_calls_are_counted_by_channel(exporter: Exporter) -> None:
    with exporter.store.writing() as session:
        patient, nurse = add_patient(session), add_account(session)
        follow_up = add_follow_up(session, add_operation(session, patient, surgery_on=SURGERY))
        closed = add_timepoint(session, follow_up, "year-1", due_on=date(2025, 5, 10))
        now_open = add_timepoint(session, follow_up, "year-2", due_on=TODAY)
        for number, (channel, outcome) in enumerate(
            [("email", "sent"), ("email", "sent"), ("letter", "sent"), ("sms", "no_contact")]
        ):
            step = {"step": f"step-{number}", "outcome": outcome, "made_at": NOW, "done_at": NOW}
            session.add(Message(timepoint_id=now_open.id, channel=channel, **step))
        tries = {"patient_id": patient.id, "by_id": nurse.id, "channel": "telephone", "result": "no_answer"}
        session.add(ContactAttempt(timepoint_id=now_open.id, at=NOW, **tries))
        session.add(ContactAttempt(at=NOW, **tries))  # about all that is open
        then = datetime.combine(closed.due_on, time(9), NOW.tzinfo)
        session.add(ContactAttempt(at=then, **tries))
    exporter.export()
    first, second = exporter.rows("schedule.csv")
    names = ("email_sent", "letter_sent", "sms_sent", "push_sent", "calls")
    assert [second[name] for name in names] == ["2", "1", "0", "0", "2"]
    assert [first[name] for name in names] == ["0", "0", "0", "0", "1"]


def test_what_was_last_known_stands_with_day_and_source_and_each_source_moves_only_what_it_shows(
    exporter: Exporter,
) -> None:
    with exporter.store.writing() as session:
        patient = add_patient(session)
        operation = add_operation(session, patient, surgery_on=SURGERY)
        add_operation(session, patient, "right", surgery_on=SURGERY)
        visit = {"examined_on": date(2025, 3, 1), "examiner": "A", "made_at": NOW}
        session.add(ClinicFinding(shoulder_id=operation.shoulder_id, **visit))
        told = {"patient_id": patient.id, "made_at": NOW}
        session.add(KnownStatus(known_on=date(2025, 6, 1), source="death_register", alive="alive", **told))
        session.add(
            KnownStatus(
                known_on=date(2025, 9, 1), source="relative", side="left", implant="in_place", alive="alive", **told
            )
        )
    exporter.export()
    left, right = exporter.rows("operations.csv")

    def said(row: dict[str, str], name: str) -> tuple[str, str]:
        return row[f"last_{name}_on"], row[f"last_{name}_source"]

    assert said(left, "contact") == ("2025-03-01", "examination")
    assert said(left, "alive") == said(right, "alive") == ("2025-06-01", "death_register")
    assert (said(left, "implant"), said(right, "implant")) == (
        ("2025-03-01", "examination"),
        ("2024-05-10", "operation"),
    )
    assert said(left, "implant_reported") == ("2025-09-01", "relative")
