"""What letters and registers say is written down on the patient's page of last known days; lost is confirmed and undone there."""

import pytest

from server.clinic.entries import ShoulderEntry
from server.models import Flag, Patient
from tests.staff.staff_case import Staff, StaffCase, years_ago

pytestmark = pytest.mark.parametrize("database_url", ["sqlite"], indirect=True, scope="module")


def enrolled(staff: StaffCase) -> int:
    return staff.case.enrol(ShoulderEntry(side="left", surgery_on=years_ago(staff.case, 9), implant_type="reverse"))


def test_each_source_moves_only_what_it_shows(staff: StaffCase, nurse: Staff) -> None:
    patient_id = enrolled(staff)
    page = f"/patients/{patient_id}/last-known"
    assert "lost: nothing known for 24 months" in nurse.get(page).text
    said = {"known_on": staff.case.today.isoformat(), "source": "register", "side": "left", "implant": "in_place"}
    assert nurse.post(f"/patients/{patient_id}/sources/new", {**said, "covers": "yes"}).status_code == 302
    told = nurse.get(page).text
    assert "register of operations" in told and "lost: nothing known" not in told
    refused = nurse.post(f"/patients/{patient_id}/sources/new", {**said, "source": "death_register"})
    assert refused.status_code == 422 and "does not show anything of an implant" in refused.text


def test_what_a_relative_says_stays_reported(staff: StaffCase, nurse: Staff) -> None:
    patient_id = enrolled(staff)
    said = {"known_on": staff.case.today.isoformat(), "source": "relative", "side": "left", "implant": "in_place"}
    assert nurse.post(f"/patients/{patient_id}/sources/new", said).status_code == 302
    told = nurse.get(f"/patients/{patient_id}").text
    assert "Left shoulder, only reported" in told and "lost: nothing known for 24 months" in told


def test_a_source_entered_in_error_moves_nothing(staff: StaffCase, nurse: Staff) -> None:
    patient_id = enrolled(staff)
    said = {"known_on": staff.case.today.isoformat(), "source": "gp_letter", "side": "left", "implant": "operated"}
    nurse.post(f"/patients/{patient_id}/sources/new", {**said, "examined": "yes"})
    assert "operated again, and that operation is not recorded yet" in nurse.get(f"/patients/{patient_id}").text
    row = f"/patients/{patient_id}/sources/1"
    assert nurse.post(f"{row}/in-error", {"act": "take", "why_back": "another person's letter"}).status_code == 302
    told = nurse.get(f"/patients/{patient_id}/last-known").text
    assert "entered in error" in told and "lost: nothing known for 24 months" in told


def test_lost_is_confirmed_with_a_reason_and_undone_by_hand(staff: StaffCase, nurse: Staff) -> None:
    patient_id = enrolled(staff)
    with staff.case.store.writing() as session:
        session.add(Flag(kind="lost_proposal", patient_id=patient_id, raised_at=staff.case.now))
    assert "wo years in a row without an answer" in nurse.get("/today").text
    address = f"/patients/{patient_id}/lost"
    assert nurse.post(address, {"act": "confirm", "why": ""}).status_code == 422
    assert nurse.post(address, {"act": "confirm", "why": "moved, nobody knows where"}).status_code == 302
    with staff.case.store.reading() as session:
        assert session.get_one(Patient, patient_id).lost_on == staff.case.today, (
            "the consent of the enrolment was the last contact"
        )
    assert "wo years in a row without an answer" not in nurse.get("/today").text
    assert nurse.post(address, {"act": "undo", "why": "she called"}).status_code == 302
    with staff.case.store.reading() as session:
        assert session.get_one(Patient, patient_id).lost_on is None
