"""Forms without answers: an empty cell with the reason beside it; and which operations and attempts a file holds."""

from datetime import date, timedelta
from typing import Any

import pytest

from server.exports import read
from server.models import Message, Patient, Timepoint
from tests.exports.clinic import SST, SURGERY, Exporter, ada_answers, add_patient
from tests.storehouse import (
    NOW,
    TODAY,
    add_account,
    add_follow_up,
    add_operation,
    add_response,
    add_score,
    add_timepoint,
    answered,
    part,
)

# What a file says is the same on either database; test_files.py and test_records.py read both.
pytestmark = pytest.mark.parametrize("database_url", ["sqlite"], indirect=True, scope="module")

LONG_AGO = TODAY - timedelta(days=400)


@pytest.mark.parametrize(
    ("due_on", "facts", "status", "reason"),
    [
        (LONG_AGO, {"asked_on": LONG_AGO}, "missed", "missed"),
        (LONG_AGO, {}, "never_asked", "patient_not_reached"),
        (LONG_AGO, {"historical": True}, "never_asked", "enrolled_later"),
        (TODAY + timedelta(days=10), {}, "open", "open"),
        (TODAY - timedelta(days=10), {}, "overdue", "overdue"),
        (TODAY, {"ladder_exhausted_on": TODAY}, "non_responder", "non_responder"),
        (TODAY, {"not_expected_on": TODAY, "not_expected_reason": "died"}, "not_expected", "died"),
    ],
)
def test_a_form_without_answers_says_why(
    exporter: Exporter, due_on: date, facts: dict[str, Any], status: str, reason: str
) -> None:
    with exporter.store.writing() as session:
        operation = add_operation(session, add_patient(session), surgery_on=SURGERY)
        add_timepoint(session, add_follow_up(session, operation), "year-2", due_on=due_on, **facts)
    exporter.export()
    (row,) = exporter.rows("long.csv")
    assert (row["row_kind"], row["status"], row["value"], row["missing"]) == ("form", status, "", reason)
    (wide,) = exporter.rows("wide.csv")
    assert (wide["y2_status"], wide["y2_missing"]) == (status, reason)


@pytest.mark.parametrize(
    ("outcomes", "reason", "sent"),
    [
        (("no_contact", "no_contact"), "not_sent", "0"),
        (("no_consent", "passed_over"), "not_sent", "0"),
        (("channel_failed", "channel_failed"), "not_sent", "0"),
        (("no_contact", "sent"), "overdue", "1"),
        (("sent", "sent"), "overdue", "2"),
        (("no_contact", None), "overdue", "0"),  # one still waits to be sent
        ((), "overdue", "0"),
    ],
)
def test_a_form_about_which_nobody_could_be_written_to_says_so(
    exporter: Exporter, outcomes: tuple[str | None, ...], reason: str, sent: str
) -> None:
    with exporter.store.writing() as session:
        operation = add_operation(session, add_patient(session), surgery_on=SURGERY)
        late = TODAY - timedelta(days=10)
        timepoint = add_timepoint(session, add_follow_up(session, operation), "year-2", due_on=late)
        for number, outcome in enumerate(outcomes):
            done_at = None if outcome is None else NOW
            step = {"step": f"step-{number}", "outcome": outcome, "made_at": NOW, "done_at": done_at}
            session.add(Message(timepoint_id=timepoint.id, channel="email", **step))
    manifest = exporter.export()
    (row,) = exporter.rows("long.csv")
    assert (row["status"], row["missing"], row["value"], row["messages_sent"]) == ("overdue", reason, "", sent)
    assert manifest.counts["forms_not_sent"] == (reason == "not_sent")


def test_a_timepoint_that_has_not_opened_is_no_row(exporter: Exporter) -> None:
    with exporter.store.writing() as session:
        operation = add_operation(session, add_patient(session), surgery_on=SURGERY)
        add_timepoint(session, add_follow_up(session, operation), "year-3", due_on=TODAY + timedelta(days=300))
    exporter.export()
    assert exporter.rows("long.csv") == []
    assert not any(name.startswith("y3") for name in exporter.rows("wide.csv")[0])


def test_the_last_answered_baseline_is_the_one_in_wide(exporter: Exporter) -> None:
    with exporter.store.writing() as session:
        patient = add_patient(session)
        follow_up = add_follow_up(
            session, add_operation(session, patient, surgery_on=SURGERY), started_on=date(2024, 1, 1)
        )
        nurse, cipher = add_account(session), exporter.cipher(patient)
        for attempt, (day, total) in enumerate([(date(2024, 1, 2), 3.0), (date(2024, 5, 1), 5.0)], start=1):
            row = add_timepoint(
                session, follow_up, "baseline", due_on=day, attempt=attempt, opens_on=day, closes_on=SURGERY
            )
            state = "early" if attempt == 1 else "in"
            response = add_response(
                session, row, [part("sst@1", answered(dict(SST)))], cipher=cipher, entered_by=nurse, window_state=state
            )
            add_score(session, response, value=total)
    exporter.export()
    (wide,) = exporter.rows("wide.csv")
    assert (wide["base_sst_total"], wide["base_window"], wide["base_days"]) == ("5", "in", "-9")
    assert [row["value"] for row in exporter.long("score")] == ["3", "5"]


@pytest.mark.parametrize("asked_before", [False, True], ids=["only-recalled", "asked-before-too"])
def test_a_recalled_baseline_stands_in_columns_of_its_own(exporter: Exporter, asked_before: bool) -> None:
    with exporter.store.writing() as session:
        patient = add_patient(session)
        follow_up = add_follow_up(session, add_operation(session, patient, surgery_on=SURGERY))
        nurse, cipher = add_account(session), exporter.cipher(patient)
        said = [
            (SURGERY + timedelta(days=9), 2.0, "recalled"),
            *([(date(2024, 5, 1), 5.0, "in")] if asked_before else []),
        ]
        for attempt, (day, total, state) in enumerate(said, start=1):
            row = add_timepoint(
                session, follow_up, "baseline", due_on=day, attempt=attempt, opens_on=day, closes_on=day
            )
            parts = [part("sst@1", answered(dict(SST)))]
            response = add_response(session, row, parts, cipher=cipher, entered_by=nurse, window_state=state, on=day)
            add_score(session, response, value=total)
    exporter.export()
    (wide,) = exporter.rows("wide.csv")
    assert (wide["rec_sst_total"], wide["rec_window"], wide["rec_days"]) == ("2", "recalled", "9")
    found = (wide["base_sst_total"], wide["base_sst_missing"], wide["base_window"])
    assert found == (("5", "", "in") if asked_before else ("", "recalled", ""))


def test_a_scale_that_the_form_does_not_hold_is_marked_as_not_asked(exporter: Exporter) -> None:
    with exporter.store.writing() as session:
        response = ada_answers(exporter, session)
        follow_up = session.get_one(Timepoint, response.timepoint_id).follow_up
        week_6 = add_timepoint(session, follow_up, "week-6", due_on=date(2024, 6, 21))
        cipher = exporter.cipher(session.get_one(Patient, response.patient_id))
        add_response(session, week_6, [], cipher=cipher, entered_by=add_account(session, "second@clinic.example"))
    exporter.export()
    (wide,) = exporter.rows("wide.csv")
    assert (wide["w6_sst_total"], wide["w6_sst_missing"]) == ("", "not_asked")
    assert (wide["y1_sst_total"], wide["y1_sst_missing"]) == ("9", "")


def test_every_operation_is_in_operations_and_only_followed_ones_in_wide(exporter: Exporter) -> None:
    with exporter.store.writing() as session:
        patient = add_patient(session, birth_on=date(1957, 5, 11))
        first = add_operation(session, patient, surgery_on=SURGERY)
        add_follow_up(session, first, ended_on=date(2025, 6, 1), end_reason="transferred")
        add_follow_up(session, add_operation(session, patient, surgery_on=date(2025, 6, 1), kind="revision"))
        add_operation(session, patient, "right", surgery_planned_on=date(2026, 9, 1))
    exporter.export()
    operations = exporter.rows("operations.csv")
    assert [(row["side"], row["operation"], row["operation_kind"]) for row in operations] == [
        ("left", "1", "index"),
        ("left", "2", "revision"),
        ("right", "1", "index"),
    ]
    assert [(row["revised_on"], row["end_reason"]) for row in operations] == [
        ("2025-06-01", "transferred"),
        ("", ""),
        ("", ""),
    ]
    assert operations[0]["age_at_surgery"] == "66"
    assert len(exporter.rows("wide.csv")) == 2


def test_a_conversion_ends_a_native_joint_and_is_no_revision(exporter: Exporter) -> None:
    with exporter.store.writing() as session:
        patient = add_patient(session)
        add_operation(session, patient, surgery_on=SURGERY)
        add_operation(session, patient, surgery_on=date(2025, 6, 1), kind="conversion")
        add_operation(session, patient, surgery_on=date(2025, 9, 1), kind="revision")
    exporter.export()
    assert [(row["converted_on"], row["revised_on"]) for row in exporter.rows("operations.csv")] == [
        ("2025-06-01", "2025-09-01"),
        ("", "2025-09-01"),
        ("", ""),
    ]


def test_who_wants_no_more_messages_has_the_day_of_that_and_none_of_withdrawal(exporter: Exporter) -> None:
    with exporter.store.writing() as session:
        stopped: dict[str, Any] = {"withdrawal_extent": "messages", "messages_stopped_on": date(2025, 2, 1)}
        add_operation(session, add_patient(session, **stopped), surgery_on=SURGERY)
    exporter.export()
    (row,) = exporter.rows("operations.csv")
    assert (row["withdrawal_extent"], row["messages_stopped_on"], row["withdrawn_on"]) == ("messages", "2025-02-01", "")


def test_a_clinic_larger_than_one_portion_is_written_whole_and_in_order(
    exporter: Exporter, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(read, "OPERATIONS_AT_ONCE", 3)
    numbers = [f"Y-{number:04d}" for number in range(11)]
    with exporter.store.writing() as session:
        for number in reversed(numbers):
            operation = add_operation(session, add_patient(session, number), surgery_on=SURGERY)
            add_timepoint(session, add_follow_up(session, operation), "year-2", due_on=TODAY)
    assert exporter.export().counts["patients"] == len(numbers)
    for file in ("long.csv", "wide.csv", "operations.csv"):
        assert [row["study_number"] for row in exporter.rows(file)] == numbers
