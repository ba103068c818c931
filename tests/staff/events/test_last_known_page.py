"""What letters and registers say is written down on the patient's page of last known days; lost is confirmed and undone there."""

from datetime import date, timedelta

import pytest
from sqlalchemy import select

from server.clinic.entries import ShoulderEntry
from server.models import Flag, Patient
from tests.staff.sent_form import send
from tests.staff.staff_case import Staff, StaffCase, years_ago
from tests.stranger import best

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


def lost_a_month_ago(staff: StaffCase) -> int:
    """Confirmed as lost, and proposed once more since; a month later."""
    patient_id = staff.case.enrol(ShoulderEntry(side="left", surgery_on=years_ago(staff.case, 1)))
    why = {"act": "confirm", "why": "moved, nobody knows where"}
    assert staff.sign_in("nurse").post(f"/patients/{patient_id}/lost", why).status_code == 302
    with staff.case.store.writing() as session:
        session.add(Flag(kind="lost_proposal", patient_id=patient_id, raised_at=staff.case.now))
    staff.case.now += timedelta(days=30)
    staff.signed_in.clear()
    return patient_id


def lost_and_settled(staff: StaffCase, patient_id: int) -> tuple[date | None, list[str | None]]:
    with staff.case.store.reading() as session:
        notes = session.scalars(select(Flag.settled_note).where(Flag.kind == "lost_proposal")).all()
        return session.get_one(Patient, patient_id).lost_on, list(notes)


def test_a_form_sent_by_the_phone_finds_a_lost_patient_again(staff: StaffCase) -> None:
    patient_id = lost_a_month_ago(staff)
    assert lost_and_settled(staff, patient_id)[0] is not None
    phone = staff.case.phone(patient_id)
    phone.fetch()
    phone.send(phone.seal(phone.payload(phone.sheet["forms"][0], best, staff.case.now)))
    assert staff.case.process().recorded == 1
    assert lost_and_settled(staff, patient_id) == (None, ["An answer came."])


def test_answers_at_a_visit_find_a_lost_patient_again_at_once(staff: StaffCase) -> None:
    patient_id = lost_a_month_ago(staff)
    nurse = staff.sign_in("nurse")
    visit = {"side": "left", "examined_on": staff.case.today.isoformat(), "examiner": "Dr Quillhurst"}
    page = str(nurse.post(f"/patients/{patient_id}/findings/new", visit).location).partition("?")[0]
    answers = {"item-1": "10", "item-2": "2"}
    assert send(nurse, f"{page}/constant", f"{page}/constant", answers).status_code == 302
    assert lost_and_settled(staff, patient_id) == (None, ["An answer came."])
