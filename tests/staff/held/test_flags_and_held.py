"""What a person must look at: flags settled with a note, held envelopes tried again or settled. Nothing sealed is shown."""

import pytest
from sqlalchemy import select

from server.links.make import find_live_link
from server.models import AuditEntry, Envelope, Flag, Patient
from server.staff.held.held import DO_FOR_MANAGER, SETTLED_AS, WHY
from tests.staff.staff_case import Staff, StaffCase
from tests.staff.visited import fill_clinic
from tests.stranger import best


def test_a_flag_shows_what_was_typed_and_leads_on(staff: StaffCase, nurse: Staff) -> None:
    clinic = fill_clinic(staff)
    page = nurse.get(f"/flags/{clinic.flag_id}").text
    assert "Contact changed" in page and "New telephone number" in page and "555 0199" in page
    assert f'href="/responses/{clinic.response_id}"' in page and "Change the contact details first</button>" in page


def test_settling_needs_a_note_and_takes_all_flags_of_the_form(staff: StaffCase, nurse: Staff) -> None:
    clinic = fill_clinic(staff)
    with staff.case.store.writing() as session:
        first = session.get_one(Flag, clinic.flag_id)
        same = {
            name: getattr(first, name) for name in ("kind", "patient_id", "timepoint_id", "response_id", "raised_at")
        }
        session.add(Flag(item="since@2/6c", detail="A new street", **same))
    path = f"/flags/{clinic.flag_id}"
    assert nurse.post(path, {"note": "  "}).status_code == 422
    long = nurse.post(path, {"note": "x" * 1001})
    assert long.status_code == 422 and "x" * 1001 in long.text
    assert nurse.post(path, {"note": "entered both"}).location == f"/patients/{clinic.patient_id}?done=flag-settled"
    with staff.case.store.reading() as session:
        flags = session.scalars(select(Flag)).all()
        assert {flag.settled_note for flag in flags} == {"entered both"} and all(flag.settled_by_id for flag in flags)
        assert all("entered both" not in (entry.detail or "") for entry in session.scalars(select(AuditEntry)))
    assert "contact changed" not in nurse.get("/today").text
    assert nurse.post(path, {"note": "once more"}).status_code == 409


@pytest.mark.parametrize("role", ["nurse", "data_manager"])
def test_a_held_envelope_says_why_and_what_to_do(staff: StaffCase, role: str) -> None:
    clinic = fill_clinic(staff)
    member = staff.sign_in(role)
    assert "One envelope held" in member.get("/held").text
    page = member.get(f"/held/{clinic.envelope_id}").text
    assert "At least one answer is none that the form offers." in page and "sst@1/4" in page
    assert "sealed" not in page.replace("was sealed", "")


def test_a_data_manager_sees_the_number_and_not_the_name(staff: StaffCase) -> None:
    clinic = fill_clinic(staff)
    held_of(staff, clinic.envelope_id, clinic.patient_id)
    manager, nurse = staff.sign_in("data_manager"), staff.sign_in("nurse")
    paths = ("/held", f"/held/{clinic.envelope_id}")
    assert ["Ada Arden" in nurse.get(path).text for path in paths] == [True, True]
    assert ["Ada Arden" in manager.get(path).text for path in paths] == [False, False]
    assert ["Y-0001" in manager.get(path).text for path in paths] == [True, True]


def held_of(staff: StaffCase, envelope_id: int, patient_id: int) -> None:
    """The held envelope came by this patient's link."""
    with staff.case.store.writing() as session:
        link = find_live_link(session, session.get_one(Patient, patient_id))
        assert link is not None
        session.get_one(Envelope, envelope_id).lookup_hash = link.lookup_hash


def test_what_is_held_stands_on_the_patients_page_and_asks_nobody_who_wants_no_contact(
    staff: StaffCase, nurse: Staff
) -> None:
    clinic = fill_clinic(staff)
    held_of(staff, clinic.envelope_id, clinic.patient_id)
    own, one = f"/patients/{clinic.patient_id}", f"/held/{clinic.envelope_id}"
    with staff.case.store.writing() as session:
        for flag in session.scalars(select(Flag).where(Flag.patient_id == clinic.patient_id)):
            flag.settled_at = staff.case.now
    assert f'href="{one}"' in nurse.get(own).text and "Staff: settle what waits above." in nurse.get(own).text
    assert "Ask the patient to answer again" in nurse.get(one).text
    with staff.case.store.writing() as session:
        session.get_one(Patient, clinic.patient_id).withdrew_on = staff.case.today
    assert "Ask the patient" not in nurse.get(one).text and "Nobody asks the patient any more" in nurse.get(one).text


def test_trying_again_in_vain_keeps_it_held(staff: StaffCase, nurse: Staff) -> None:
    clinic = fill_clinic(staff)
    answer = nurse.post(f"/held/{clinic.envelope_id}/again")
    assert answer.location == f"/held/{clinic.envelope_id}?done=held-still"
    assert "stays held; nothing is lost" in nurse.get(answer.location).text


def test_a_missing_patient_key_is_brought_back_and_not_settled(staff: StaffCase, nurse: Staff) -> None:
    clinic = fill_clinic(staff)
    with staff.case.store.writing() as session:
        session.get_one(Envelope, clinic.envelope_id).held_reason = "needs_key"
    page = nurse.get("/held").text
    assert "not in the key folder" in page and "from its backup" in page
    assert "then try again" in page and "ettle it" not in page


def test_the_data_manager_is_told_of_no_page_that_is_closed_to_that_role() -> None:
    assert set(DO_FOR_MANAGER) <= set(WHY)
    said = {reason: DO_FOR_MANAGER.get(reason, do).text for reason, (_why, do) in WHY.items()}
    assert [reason for reason, do in said.items() if "patient's page" in do or "data manager" in do] == []


def test_no_held_text_offers_a_page_that_is_not_there() -> None:
    phrases = [*SETTLED_AS.values(), *(each for pair in WHY.values() for each in pair)]
    said = " ".join(each.text for each in phrases)
    assert "telephone" not in said and "paper" not in said


def test_a_form_is_recorded_once_its_key_is_back(staff: StaffCase, nurse: Staff) -> None:
    case = staff.case
    patient_id = case.enrol()
    phone = case.phone(patient_id)
    phone.fetch()
    phone.send(phone.seal(phone.payload(phone.sheet["forms"][0], best, case.now)))
    [key] = (case.runtime.keys.folder / "sealing").glob("*.pem")
    away = key.rename(key.with_suffix(".away"))
    case.process()
    held = nurse.get("/held").text
    assert "One envelope held" in held and "not in the key folder" in held
    away.rename(key)
    with case.store.reading() as session:
        envelope_id = session.scalars(select(Envelope.id)).one()
    assert nurse.post(f"/held/{envelope_id}/again").location == "/held?done=held-recorded"
    with case.store.reading() as session:
        assert session.scalars(select(Envelope.state)).one() == "recorded"
    assert phone.fetch()[1]["state"] == "nothing_due"  # the sheet was published anew


def test_settling_keeps_the_bytes(staff: StaffCase, nurse: Staff) -> None:
    clinic = fill_clinic(staff)
    path = f"/held/{clinic.envelope_id}/settle"
    assert nurse.post(path, {"settled_as": "whatever"}).status_code == 400
    assert nurse.post(path, {"settled_as": "patient_asked"}).location == "/held?done=held-settled"
    with staff.case.store.reading() as session:
        envelope = session.scalars(select(Envelope)).one()
        assert (envelope.state, envelope.body) == ("settled", b"sealed") and envelope.settled_at
    assert "No envelopes held" in nurse.get("/held").text
    assert nurse.post(path, {"settled_as": "patient_asked"}).status_code == 409
