"""Files leave only by the surgeon or the data manager, whole, and the audit trail says so."""

import hashlib
import io
import json
import zipfile

import pytest
from sqlalchemy import select

from server.models import FollowUp, Operation, Patient, Response, Timepoint
from server.trust.audit import audit
from tests.staff.staff_case import StaffCase
from tests.staff.tree import read_tree
from tests.staff.visited import fill_clinic

# What a page says is the same on either database.
pytestmark = pytest.mark.parametrize("database_url", ["sqlite"], indirect=True, scope="module")


@pytest.mark.parametrize("role", ["surgeon", "data_manager"])
def test_the_download_is_the_export_with_its_manifest(staff: StaffCase, role: str) -> None:
    fill_clinic(staff)
    member = staff.sign_in(role)
    assert "One patient, two operations, one answered form" in member.get("/files").text
    first, again = member.post("/files"), member.post("/files")
    assert first.mimetype == "application/zip" and "yearmark-2026-06-15.zip" in first.headers["Content-Disposition"]
    assert first.data == again.data and first.headers["Cache-Control"] == "no-store"
    with zipfile.ZipFile(io.BytesIO(first.data)) as archive:
        files = {name.removeprefix("yearmark/"): archive.read(name) for name in archive.namelist()}
    manifest = json.loads(files["manifest.json"])
    assert set(files) == {"manifest.json", *manifest["files"]} and "long.csv" in files
    for name, entry in manifest["files"].items():
        assert hashlib.sha256(files[name]).hexdigest() == entry["sha256"], name
    assert not any(b"Arden" in content for content in files.values())


def test_what_was_entered_in_error_is_not_told_as_in_the_files(staff: StaffCase) -> None:
    filled, surgeon = fill_clinic(staff), staff.sign_in("surgeon")
    with staff.case.store.writing() as session:
        of_the_form = select(FollowUp.operation_id).join(Timepoint).join(Response)
        operation_id = session.scalars(of_the_form.where(Response.id == filled.response_id)).one()
        session.get_one(Operation, operation_id).taken_back_at = staff.case.now
    assert "One patient, one operation, no answered forms" in surgeon.get("/files").text
    with staff.case.store.writing() as session:
        session.get_one(Operation, operation_id).taken_back_at = None
        session.get_one(Patient, filled.patient_id).taken_back_at = staff.case.now
    assert "No patients, no operations, no answered forms" in surgeon.get("/files").text


def test_a_nurse_takes_no_files(staff: StaffCase) -> None:
    nurse = staff.sign_in("nurse")
    assert nurse.get("/files").status_code == 403 and nurse.post("/files").status_code == 403


def test_the_page_explains_every_file_of_the_zip(staff: StaffCase) -> None:
    surgeon = staff.sign_in("surgeon")
    with zipfile.ZipFile(io.BytesIO(surgeon.post("/files").data)) as archive:
        names = [name.removeprefix("yearmark/") for name in archive.namelist()]
    page = surgeon.get("/files").text
    assert all(f"<dt>{name}</dt>" in page for name in names)


def test_the_audit_trail_names_who_and_what_but_no_patient(staff: StaffCase) -> None:
    fill_clinic(staff)
    staff.sign_in("surgeon").post("/files")
    page = staff.sign_in("data_manager").get("/audit").text
    assert "Files taken out" in page and "Nell Surgeon" in page and "Patient enrolled" in page
    assert "Arden" not in page


def test_the_audit_trail_tells_what_was_changed_in_words(staff: StaffCase) -> None:
    with staff.case.store.writing() as session:
        audit(session, "clinic:changed", "clinic 1", now=staff.case.now, after={"name": "New"}, before={"name": "Old"})
    page = staff.sign_in("data_manager").get("/audit").text
    assert "after Name “New”" in page and "before Name “Old”" in page and "&#39;name&#39;" not in page


def test_fields_are_told_by_their_labels_and_codes_by_their_words(staff: StaffCase) -> None:
    with staff.case.store.writing() as session:
        now = staff.case.now
        audit(session, "event:corrected", "event 1", now=now, fields=["source_kind", "happened_precision", "of_old"])
        audit(session, "operation:corrected", "operation 1", now=now, fields=["surgery_on"])
        audit(session, "follow_up:ended", "follow-up 1", now=now, reason="no_follow_up")
        audit(session, "patient:withdrew", "patient 1", now=now, extent="contact")
        audit(session, "response:entered", "response 1", now=now, mode="clinic")
    page = read_tree(staff.sign_in("data_manager").get("/audit").text).words
    for said in (
        "what “Who says so”, “How exactly the day is known” and “of old”",
        "what “Done on”",
        "reason no follow-up with such an operation",
        "mode visit at the clinic",
    ):
        assert said in page, said
    assert "source kind" not in page and "extent contact" not in page


def test_the_audit_trail_shows_no_code(staff: StaffCase) -> None:
    with staff.case.store.writing() as session:
        day = "2012-02-03"
        audit(
            session, "operation:done", "operation 1", now=staff.case.now, surgery_on=day, before=None, asked_again=True
        )
        audit(session, "some_thing:not_yet_known", "some_thing 4", now=staff.case.now, by="retired_key")
        audit(session, "clinic:changed", "clinic 1", now=staff.case.now, name="2026-02-30")
    page = read_tree(staff.sign_in("data_manager").get("/audit").text).words
    assert "name 2026-02-30" in page, "what is no day of the calendar is told as it was typed"
    assert "Operation written down as done operation " in page and "done operation 1" not in page
    assert "asked again yes, before none, day of surgery 3 Feb 2012" in page
    assert "Some thing not yet known some thing 4 by retired key" in page
