"""Forms that were taken at a visit stand in long.csv, with the operation in whose course they lie, and in no column of a timepoint."""

import json
from datetime import UTC, date, datetime, time
from typing import Any

import pytest
from sqlalchemy.orm import Session

from server.models import ClinicFinding, Operation, Patient, Response
from tests.exports.clinic import SURGERY, Exporter, ada_answers, add_patient
from tests.storehouse import ANSWERS_CONTEXT, NOW, add_account, add_operation, add_score, answered, part
from tests.storehouse import add_patient as add_person

pytestmark = pytest.mark.parametrize("database_url", ["sqlite"], indirect=True)
SAID = {"1": 30, "2": 2}
TAKEN: dict[str, Any] = {
    "mode": "clinic",
    "answered_by": "patient_with_help",
    "language": "en",
    "window_state": "off_schedule",
}


def visit(session: Session, operation: Operation, on: date, **values: Any) -> ClinicFinding:
    finding = ClinicFinding(shoulder_id=operation.shoulder_id, examined_on=on, examiner="A", made_at=NOW, **values)
    session.add(finding)
    session.flush()
    return finding


def constant(exporter: Exporter, session: Session, finding: ClinicFinding, patient: Patient, **values: Any) -> Response:
    """A Constant form of that visit, with a total of 74."""
    at = datetime.combine(finding.examined_on, time(10, 0), tzinfo=UTC)
    sealed = exporter.keys.patient_cipher(patient.handle).seal(
        json.dumps([part("constant@1", answered(dict(SAID)))]).encode(), ANSWERS_CONTEXT
    )
    days = {"finished_at": at, "received_at": at, "recorded_at": at}
    nurse = add_account(session, f"nurse{finding.id}.{len(values)}@clinic.example")
    given = {"finding_id": finding.id, "patient_id": patient.id, "entered_by_id": nurse.id, "counted": True, **days}
    response = Response(answers=sealed, **{**given, **TAKEN, **values})
    session.add(response)
    session.flush()
    more = {"answered": 14, "items": 14, "method": "sum of the four parts"}
    add_score(session, response, "constant", value=74.0, **more)
    return response


def places(exporter: Exporter) -> list[tuple[str, ...]]:
    names = ("study_number", "side", "operation", "finding", "timepoint", "answered_on", "days_from_surgery")
    return [tuple(row[name] for name in names) for row in exporter.long("visit")]


def test_a_form_taken_at_a_visit_stands_in_long_with_its_items_and_scores(exporter: Exporter) -> None:
    with exporter.store.writing() as session:
        ada = add_patient(session)
        exporter.cipher(ada)
        operation = add_operation(session, ada, surgery_on=SURGERY)
        visit(session, operation, date(2025, 5, 1))
        finding = visit(session, operation, date(2025, 5, 12), flexion_degrees=140)
        constant(exporter, session, finding, ada)
    manifest = exporter.export()
    assert places(exporter) == [("Y-0001", "left", "1", "2", "", "2025-05-12", "367")]
    [form] = exporter.long("visit")
    assert (form["mode"], form["answered_by"], form["window_state"]) == (
        "clinic",
        "patient_with_help",
        "off_schedule",
    )
    assert {row["item"]: row["value"] for row in exporter.long("item")} == {"1": "30", "2": "2"}
    [score] = exporter.long("score")
    assert (score["instrument"], score["scale"], score["value"], score["finding"]) == ("constant@1", "total", "74", "2")
    assert exporter.rows("findings.csv")[1]["finding"] == "2" and exporter.rows("findings.csv")[1]["flexion_degrees"]
    assert manifest.counts["forms_at_visits"] == 1 and exporter.long("form") == []
    book = {row["name"]: row for row in exporter.rows("codebook.csv") if row["file"] == "long.csv"}
    assert "unverified" in book["constant@1/total"]["note"] and "unverified" in book["constant@1/1"]["note"]
    assert "constant@1" in {row["instrument"] for row in exporter.rows("thresholds.csv")}


def test_it_makes_no_column_of_a_timepoint_and_no_row_of_the_schedule(exporter: Exporter) -> None:
    with exporter.store.writing() as session:
        ada = ada_answers(exporter, session)
        patient = session.get_one(Patient, ada.patient_id)
        finding = visit(session, patient.shoulders[0].operations[0], date(2025, 5, 12))
        constant(exporter, session, finding, patient)
    exporter.export()
    assert [name for name in exporter.rows("wide.csv")[0] if "constant" in name] == []
    assert {row["timepoint"] for row in exporter.rows("schedule.csv")} == {"year-1"}
    assert len(exporter.long("form")) == len(exporter.long("visit")) == 1


def test_it_stands_with_the_last_operation_of_a_follow_up_or_before_all_with_the_first(exporter: Exporter) -> None:
    with exporter.store.writing() as session:
        ada = add_patient(session)
        exporter.cipher(ada)
        index = add_operation(session, ada, surgery_on=SURGERY)
        add_operation(session, ada, surgery_on=date(2025, 2, 1), kind="other")
        add_operation(session, ada, surgery_on=date(2025, 6, 1), kind="revision")
        add_operation(session, ada, surgery_on=date(2001, 1, 1), kind="earlier")
        for on in (date(2024, 5, 9), date(2025, 3, 1), date(2025, 7, 1)):
            constant(exporter, session, visit(session, index, on), ada)
        planned = add_operation(session, ada, "right", surgery_on=None)
        constant(exporter, session, visit(session, planned, date(2025, 3, 2)), ada)
    exporter.export()
    assert [place[1:4] + place[5:] for place in places(exporter)] == [
        ("left", "1", "1", "2024-05-09", "-1"),
        ("left", "1", "2", "2025-03-01", "295"),
        ("left", "3", "3", "2025-07-01", "30"),
        ("right", "1", "1", "2025-03-02", ""),
    ]


def test_what_was_entered_again_or_in_error_is_in_no_file_nor_is_who_did_not_consent(exporter: Exporter) -> None:
    with exporter.store.writing() as session:
        ada, ben = add_patient(session), add_person(session, "Y-0002")
        for person in (ada, ben):
            exporter.cipher(person)
        operation = add_operation(session, ada, surgery_on=SURGERY)
        finding = visit(session, operation, date(2025, 5, 1))
        constant(exporter, session, finding, ada, counted=False)
        constant(exporter, session, finding, ada, counted=True, set_aside_at=NOW)
        constant(exporter, session, visit(session, operation, date(2025, 5, 2), taken_back_at=NOW), ada)
        other = add_operation(session, ben, surgery_on=SURGERY)
        constant(exporter, session, visit(session, other, date(2025, 5, 3)), ben)
    exporter.export()
    assert places(exporter) == []
    exporter.export("all", all_patients=True)
    assert [row["study_number"] for row in exporter.rows("long.csv", "all")] == ["Y-0002"] * 4
