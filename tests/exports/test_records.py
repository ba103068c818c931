"""events.csv, findings.csv and components.csv: one row for each thing recorded of a shoulder, and none that was taken back."""

from datetime import date

from sqlalchemy.orm import Session

from server.fields.component import COMPONENT
from server.fields.event import EVENT
from server.fields.event_grade import SCHEME
from server.fields.field import Field
from server.fields.finding import FINDING
from server.fields.leaving import exported
from server.fields.operation import OPERATION
from server.models import ClinicEvent, ClinicFinding, Component, Operation, Patient, Shoulder
from tests.exports.clinic import CANARY, SURGERY, Exporter, add_patient
from tests.storehouse import NOW, add_operation
from tests.storehouse import add_patient as add_person


def revised_shoulder(session: Session) -> tuple[Operation, Operation]:
    patient = add_patient(session)
    return (
        add_operation(session, patient, surgery_on=SURGERY),
        add_operation(session, patient, surgery_on=date(2025, 6, 1), kind="revision"),
    )


def event(operation: Operation, **values: object) -> ClinicEvent:
    given = {
        "kind": "infection",
        "happened_on": date(2025, 5, 1),
        "happened_precision": "month",
        "certainty": "reported",
    }
    return ClinicEvent(
        shoulder_id=operation.shoulder_id, **{**given, "source_kind": "patient", "made_at": NOW, **values}
    )


def names(fields: tuple[Field, ...]) -> set[str]:
    return {field.column for field in exported(fields)}


def test_an_event_has_its_certainty_its_operation_and_a_derived_grade(exporter: Exporter) -> None:
    with exporter.store.writing() as session:
        first, _revision = revised_shoulder(session)
        first.surgery_precision = "day"
        session.add(event(first, taken_back_at=NOW))
        session.add(event(first, treatment="revision", source=f"{CANARY} letter", judged_by=f"{CANARY} judge"))
        session.add(event(first, kind="instability", happened_precision="day", certainty="confirmed"))
    exporter.export()
    infection, instability = exporter.rows("events.csv")
    assert (infection["event"], instability["event"]) == ("2", "3"), (
        "the first was taken back, and its number stays its own"
    )
    assert (infection["event_kind"], infection["certainty"], infection["happened_precision"]) == (
        "infection",
        "reported",
        "month",
    )
    assert (infection["study_number"], infection["side"], infection["operation"], infection["surgery_on"]) == (
        "Y-0001",
        "left",
        "1",
        "2024-05-10",
    )
    assert infection["surgery_precision"] == "day"
    assert (infection["grade"], instability["grade"], infection["from_answer"]) == ("3", "", "0")
    (entry,) = [row for row in exporter.rows("codebook.csv") if row["file"] == "events.csv" and row["name"] == "grade"]
    assert entry["note"] == SCHEME
    assert names(EVENT) <= infection.keys()
    assert CANARY not in (exporter.folder / "set" / "events.csv").read_text(encoding="utf-8")


def test_an_event_names_the_operation_that_was_recorded_of_it_and_follows_one_entered_later(exporter: Exporter) -> None:
    with exporter.store.writing() as session:
        first, revision = revised_shoulder(session)
        patient_id = session.get_one(Shoulder, first.shoulder_id).patient_id
        of_revision = {"kind": "operated_again", "happened_on": date(2025, 6, 1), "recorded_as_id": revision.id}
        session.add(event(first, **of_revision))
        session.add(event(first, happened_on=date(2026, 2, 1)))
    exporter.export()
    again, infection = exporter.rows("events.csv")
    assert (again["operation"], again["recorded_as"]) == ("1", "2")
    assert (infection["operation"], infection["surgery_on"], infection["recorded_as"]) == ("2", "2025-06-01", "")
    with exporter.store.writing() as session:
        add_operation(session, session.get_one(Patient, patient_id), surgery_on=date(2026, 1, 1), kind="revision")
    exporter.export("later")
    assert [row["operation"] for row in exporter.rows("events.csv", "later")] == ["1", "3"]


def test_a_component_says_which_operation_put_it_in_and_which_took_it_out(exporter: Exporter) -> None:
    with exporter.store.writing() as session:
        first, revision = revised_shoulder(session)
        revision.surgery_precision = "month"
        session.add(Component(put_in_id=first.id, taken_out_id=revision.id, role="head", lot="=LOT-1", made_at=NOW))
        session.add(Component(put_in_id=first.id, role="stem", lot="LOT-2", struck_at=NOW, made_at=NOW))
        session.add(Component(put_in_id=revision.id, role="glenosphere", serial="77", made_at=NOW))
    exporter.export()
    head, sphere = exporter.rows("components.csv")
    assert head["taken_out_precision"] == sphere["surgery_precision"] == "month"
    assert (head["role"], head["lot"], head["operation"], head["taken_out"], head["taken_out_on"]) == (
        "head",
        "'=LOT-1",
        "1",
        "2",
        "2025-06-01",
    )
    assert (sphere["component"], sphere["operation"], sphere["taken_out"], sphere["serial"]) == ("3", "2", "", "77")
    assert names(COMPONENT) <= head.keys()


def test_a_finding_has_what_was_measured_and_no_name(exporter: Exporter) -> None:
    with exporter.store.writing() as session:
        first, _revision = revised_shoulder(session)
        given = {"examined_on": date(2025, 5, 3), "examiner": f"{CANARY} examiner", "note": f"{CANARY} note"}
        session.add(
            ClinicFinding(shoulder_id=first.shoulder_id, flexion_degrees=140, loosening="none", made_at=NOW, **given)
        )
    exporter.export()
    (row,) = exporter.rows("findings.csv")
    assert (row["examined_on"], row["flexion_degrees"], row["loosening"], row["cannot_reach_90"]) == (
        "2025-05-03",
        "140",
        "none",
        "",
    )
    assert names(FINDING) <= row.keys()
    assert CANARY not in ",".join(row.values())


def test_who_has_no_standing_consent_to_research_has_no_row_in_any_of_them(exporter: Exporter) -> None:
    with exporter.store.writing() as session:
        operation = add_operation(session, add_person(session), surgery_on=SURGERY)
        session.add(event(operation))
        session.add(Component(put_in_id=operation.id, role="head", made_at=NOW))
        session.add(ClinicFinding(shoulder_id=operation.shoulder_id, examined_on=SURGERY, examiner="A", made_at=NOW))
    exporter.export()
    assert [len(exporter.rows(file)) for file in ("events.csv", "components.csv", "findings.csv")] == [0, 0, 0]
    exporter.export("all", all_patients=True)
    assert [len(exporter.rows(file, "all")) for file in ("events.csv", "components.csv", "findings.csv")] == [1, 1, 1]


def test_an_empty_field_of_the_record_has_its_reason_in_its_row(exporter: Exporter) -> None:
    with exporter.store.writing() as session:
        first, revision = revised_shoulder(session)
        first.bmi, first.asa, first.surgery_precision = 27.5, "unknown", "day"
        session.add(event(first, cultures_taken=5))
        session.add(event(first, kind="instability", certainty="confirmed"))
        visit = {
            "shoulder_id": first.shoulder_id,
            "examined_on": date(2025, 5, 1),
            "examiner": "E",
            "loosening": "none",
        }
        session.add(ClinicFinding(**visit, made_at=NOW))
        session.add(Component(put_in_id=revision.id, role="stem", maker="M", made_at=NOW))
    exporter.export()
    done, again = exporter.rows("operations.csv")
    assert {"smoking", "surgeon", "dominant"} <= why(done, "not_recorded")
    assert {"surgery_planned_on", "cancelled_on", "stage", "operation_reason"} <= why(done, "not_applicable")
    assert {"stage", "operation_reason"} <= why(again, "not_recorded")
    assert "diagnosis" in why(again, "not_applicable")
    infection, instability = exporter.rows("events.csv")
    assert {"cultures_positive", "organism"} <= why(infection, "not_recorded")
    assert {"revision_decision", "judged_on"} <= why(infection, "not_applicable")
    assert {"cultures_taken", "organism"} <= why(instability, "not_applicable")
    assert "judged_on" in why(instability, "not_recorded")
    (visited,), (stem,) = exporter.rows("findings.csv"), exporter.rows("components.csv")
    assert {"strength_unit", "loosening_of"} <= why(visited, "not_applicable")
    assert {"strength", "migration_of"} <= why(visited, "not_recorded")
    assert {"lot", "material"} <= why(stem, "not_recorded")
    files = ((OPERATION, (done, again)), (EVENT, (infection, instability)), (FINDING, (visited,)), (COMPONENT, (stem,)))
    for fields, rows in files:
        for row in rows:
            empty = {name for name in names(fields) if row[name] == ""}
            assert empty == (why(row, "not_recorded") | why(row, "not_applicable")) & names(fields)


def why(row: dict[str, str], column: str) -> set[str]:
    return set(row[column].split())
