"""A person's whole file: every table that concerns them, every answer in words, and who did and saw what."""

import json
import re
from datetime import timedelta
from typing import Any

import pytest
from sqlalchemy import select

from server.models import AuditEntry, ClinicNotice, FieldChange, Patient, Response
from server.queries.belongs import PATIENT_OF
from server.staff.audit.file_sections import SECTIONS, columns_of
from server.trust.views import note_view
from tests.staff.staff_case import StaffCase
from tests.staff.visited import fill_clinic

on_sqlite = pytest.mark.parametrize("database_url", ["sqlite"], indirect=True, scope="module")


def taken(staff: StaffCase, patient_id: int, role: str = "nurse") -> dict[str, Any]:
    answer = staff.sign_in(role).post(f"/patients/{patient_id}/file", {"as": "json"})
    assert answer.status_code == 200 and answer.mimetype == "application/json"
    return dict(json.loads(answer.data))


def test_every_table_that_concerns_a_patient_is_a_part_of_the_file() -> None:
    assert set(SECTIONS) == {*PATIENT_OF, ClinicNotice, FieldChange, AuditEntry}


def test_no_secret_and_no_bytes_are_columns_of_the_file() -> None:
    told = {f"{model.__tablename__}.{name}" for model in SECTIONS for name in columns_of(model)}
    assert {"patient.first_name", "patient.birth_on", "link_birth_date.birth_on", "flag.detail"} <= told
    assert told & {"link.token", "patient.handle", "response.answers", "envelope.body", "gate.ciphertext"} == set()


@on_sqlite
def test_the_file_tells_the_person_every_answer_and_who_did_and_saw_what(staff: StaffCase) -> None:
    clinic = fill_clinic(staff)
    other = staff.case.enrol(first_name="Ben", email="ben@patient.example")
    staff.sign_in("nurse").post(
        f"/patients/{clinic.patient_id}/attempts", {"channel": "telephone", "result": "no_answer"}
    )
    note_view(staff.case.store, f"patient {clinic.patient_id}", staff.account_id("surgeon"), staff.case.now)
    file = taken(staff, clinic.patient_id)
    tables = file["tables"]
    assert set(tables) == {model.__tablename__ for model in SECTIONS} and file["study_numbers"] == ["Y-0001"]
    assert tables["patient"][0]["first_name"] == "Ada" and tables["patient"][0]["birth_on"] == "1952-02-29"
    sst = next(part for part in tables["response"][0]["answers"] if part["instrument"] == "sst@1")
    seventh = next(each for each in sst["answers"] if each["item"] == "7")
    assert "your right shoulder" in json.dumps(sst) and "{side}" not in json.dumps(tables["response"])
    assert seventh["value"] == 0 and seventh["said"] == "No" and seventh["question"].endswith("?")
    assert {each["scale"] for each in tables["score"]} and tables["clinic_event"] and tables["clinic_finding"]
    assert [each["result"] for each in tables["contact_attempt"]] == ["no_answer"]
    assert "patient:enrolled" in {each["action"] for each in tables["audit_entry"]}
    seen_by = tables["patient_view"][0]["by_id"]
    assert file["staff"][str(seen_by)] == {"name": "Nell Surgeon", "role": "surgeon"}
    assert "Ben" not in json.dumps(file) and taken(staff, other)["tables"]["patient"][0]["first_name"] == "Ben"
    assert [each["action"] for each in taken(staff, other)["tables"]["audit_entry"]][-1] == "patient:file_taken"


@on_sqlite
def test_two_records_of_one_person_are_one_file_whichever_is_asked_for(staff: StaffCase) -> None:
    kept, again = staff.case.enrol(), staff.case.enrol(email="again@patient.example")
    with staff.case.store.writing() as session:
        session.get_one(Patient, again).merged_into_id = kept
    assert taken(staff, kept)["study_numbers"] == ["Y-0001", "Y-0002"] == taken(staff, again)["study_numbers"]


@on_sqlite
def test_answers_that_open_no_more_are_said_to_be_closed_and_the_rest_is_there(staff: StaffCase) -> None:
    clinic = fill_clinic(staff)
    with staff.case.store.writing() as session:
        session.get_one(Response, clinic.response_id).answers = b"altered"
    file = taken(staff, clinic.patient_id)
    assert file["tables"]["response"][0]["answers"] is None and file["tables"]["score"]


@on_sqlite
def test_the_pdf_is_made_and_noted_in_either_direction_of_writing(staff: StaffCase) -> None:
    clinic = fill_clinic(staff, first_name="عائشة", last_name="כהן")
    nurse = staff.sign_in("nurse")
    staff.case.now += timedelta(microseconds=1)  # as a machine's clock nearly always stands
    for language in ("en", "es", "ar"):
        with staff.case.store.writing() as session:
            session.get_one(Patient, clinic.patient_id).language = language
        answer = nurse.post(f"/patients/{clinic.patient_id}/file", {"as": "pdf"})
        assert answer.data.startswith(b"%PDF") and answer.mimetype == "application/pdf"
        assert re.search(r'filename="Y-0001-2026-06-15.pdf"', answer.headers["Content-Disposition"])
    with staff.case.store.reading() as session:
        noted = session.scalars(select(AuditEntry).where(AuditEntry.action == "patient:file_taken")).all()
        assert [(each.thing, each.by_id) for each in noted] == [
            (f"patient {clinic.patient_id}", staff.account_id())
        ] * 3


@on_sqlite
def test_nobody_gets_another_kind_of_file_or_that_of_nobody(staff: StaffCase) -> None:
    patient_id = staff.case.enrol()
    nurse, manager = staff.sign_in("nurse"), staff.sign_in("data_manager")
    assert nurse.post(f"/patients/{patient_id}/file", {"as": "exe"}).status_code == 404
    assert nurse.post("/patients/999/file", {"as": "json"}).status_code == 404
    assert manager.post(f"/patients/{patient_id}/file", {"as": "json"}).status_code == 403
    with staff.case.store.reading() as session:
        assert session.query(AuditEntry).filter(AuditEntry.action == "patient:file_taken").count() == 0


@on_sqlite
def test_where_erasure_is_entered_the_recipe_is_one_click_away(staff: StaffCase) -> None:
    patient_id = staff.case.enrol()
    nurse = staff.sign_in("nurse")
    assert 'href="/erasure"' in nurse.get(f"/patients/{patient_id}/leave?what=withdrew").text
    page = nurse.get("/erasure").text
    assert "Backups of the keys still hold it until they are thrown away by hand" in page
    assert "What the data protection officer decides" in page and "Backups hold the person" in page
