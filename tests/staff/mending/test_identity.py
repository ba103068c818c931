"""Name, sex, language, ways of contact, hospital numbers and consents are put right, each with a reason, the original kept."""

from datetime import timedelta

import pytest
from sqlalchemy import select

from server.clinic.majority import propose_asking_again
from server.models import Consent, HospitalNumber
from server.queries.clock import the_clinic
from tests.staff.mending.mending_case import WHY, mend, patient_of, reasons
from tests.staff.sent_form import inputs_of, send
from tests.staff.staff_case import Staff, StaffCase, years_ago
from tests.staff.tree import read_tree

pytestmark = pytest.mark.parametrize("database_url", ["sqlite"], indirect=True, scope="module")


def consents(staff: StaffCase, patient_id: int) -> dict[str, Consent]:
    with staff.case.store.reading() as session:
        return {each.kind: each for each in session.scalars(select(Consent).where(Consent.patient_id == patient_id))}


def test_a_name_and_a_language_are_corrected_with_the_reason_and_the_old_name_kept(
    staff: StaffCase, nurse: Staff
) -> None:
    patient_id = staff.case.enrol(phone="555 0111")
    page = f"/patients/{patient_id}/details"
    without = send(nurse, page, page, {"first_name": "Adela", "way-1": "sms", "way-2": "email"})
    assert without.status_code == 422 and "Write why." in without.text and "Adela" in without.text
    shown = inputs_of(without.text, page)
    assert [shown[f"way-{number}"] for number in (1, 2, 3, 4)] == ["sms", "email", "", ""]
    done = mend(nurse, page, first_name="Adela", sex="unknown", **{"way-1": "sms", "way-2": "email", "why": f"{WHY}."})
    assert done.location == f"/patients/{patient_id}?done=mended"
    kept = patient_of(staff, patient_id)
    assert (kept.first_name, kept.sex, kept.channel_order) == ("Adela", "unknown", "sms,email")
    assert ("first_name", "Ada", "Adela", f"{WHY}.") in reasons(staff)
    told = nurse.get(page).text
    assert "“Ada” became “Adela”, by Nell Nurse" in told and f"Why: {WHY}." in told and ".." not in told


@pytest.mark.parametrize(
    ("wrong", "said"),
    [
        ({"language": "tlh"}, "languages are"),
        ({"way-1": "sms"}, "needs a telephone number"),
        ({"first_name": " "}, "Enter the first name."),
        ({"time_zone": "Europe/Atlantis"}, "is not a time zone"),
    ],
)
def test_what_cannot_be_is_refused_in_words(staff: StaffCase, nurse: Staff, wrong: dict[str, str], said: str) -> None:
    patient_id = staff.case.enrol()
    answer = mend(nurse, f"/patients/{patient_id}/details", **wrong)
    assert answer.status_code == 422 and said in answer.text
    assert reasons(staff) == []


def test_a_hospital_number_finds_the_patient_and_nothing_of_it_stands_in_the_database(
    staff: StaffCase, nurse: Staff
) -> None:
    patient_id = staff.case.enrol()
    other = staff.case.enrol(first_name="Bela", last_name="Other")
    page = f"/patients/{patient_id}/numbers"
    added = send(nurse, page, page, {"issuer": "Harbour Hospital", "number": "00-4711/b"})
    assert added.location == f"{page}?done=number-added"
    assert "The number is added." in nurse.get(added.location).text, "nothing was wrong, and no reason was asked"
    assert nurse.get("/patients?q=00 4711B").location == f"/patients/{patient_id}"
    assert nurse.get("/patients?q=4711B").status_code == 200  # leading zeros count
    again = send(
        nurse,
        f"/patients/{other}/numbers",
        f"/patients/{other}/numbers",
        {"issuer": "harbour hospital", "number": "004711B"},
    )
    assert again.status_code == 422 and "already belongs to Y-0001" in again.text
    elsewhere = {"issuer": "Hill Clinic", "number": "004711B"}
    assert send(nurse, f"/patients/{other}/numbers", f"/patients/{other}/numbers", elsewhere).status_code == 302
    both = nurse.get("/patients?q=004711b").text
    assert "Ada Arden" in both and "Bela Other" in both
    with staff.case.store.engine.connect() as connection:
        raw = connection.exec_driver_sql("SELECT * FROM hospital_number").fetchall()
    assert raw and not any(
        b"4711" in bytes(str(value), "utf-8") or (isinstance(value, bytes) and b"4711" in value)
        for row in raw
        for value in row
    )


def test_a_number_is_corrected_and_taken_away_from_the_wrong_person(staff: StaffCase, nurse: Staff) -> None:
    patient_id = staff.case.enrol()
    page = f"/patients/{patient_id}/numbers"
    send(nurse, page, page, {"issuer": "Harbour", "number": "1234"})
    number = f"{page}/1"
    assert mend(nurse, page, number, what="correct", **{"number-1-number": "1243"}).status_code == 302
    assert nurse.get("/patients?q=1234").status_code == 200
    assert nurse.get("/patients?q=1243").location == f"/patients/{patient_id}"
    assert mend(nurse, page, number, what="remove").status_code == 302
    assert nurse.get("/patients?q=1243").status_code == 200
    assert ("number", "1234", "1243", WHY) in reasons(staff) and ("number", "Harbour: 1243", None, WHY) in reasons(
        staff
    )
    assert "“1234” became “1243”" in nurse.get(page).text
    other = staff.case.enrol(first_name="Bela")
    assert (
        send(
            nurse, f"/patients/{other}/numbers", f"/patients/{other}/numbers", {"issuer": "Harbour", "number": "1243"}
        ).status_code
        == 302
    )


def test_without_its_key_no_number_is_saved_and_no_new_key_is_made(staff: StaffCase, nurse: Staff) -> None:
    patient_id = staff.case.enrol()
    page = f"/patients/{patient_id}/numbers"
    send(nurse, page, page, {"issuer": "Harbour", "number": "1234"})
    key = staff.case.runtime.keys.folder / "search" / "search.key"
    key.unlink()
    refused = send(nurse, page, page, {"issuer": "Harbour", "number": "5678"})
    assert refused.status_code == 422 and "is not in the key folder" in refused.text and not key.exists()
    with staff.case.store.reading() as session:
        assert len(session.scalars(select(HospitalNumber)).all()) == 1
    assert nurse.get("/patients?q=1234").status_code == 200


def test_a_consent_is_withdrawn_corrected_and_set_aside_each_by_whom(staff: StaffCase, nurse: Staff) -> None:
    patient_id = staff.case.enrol()
    page = f"/patients/{patient_id}/consents"
    kept = consents(staff, patient_id)
    assert {each.given_by for each in kept.values()} == {"self"}
    research = kept["research"].id
    action, prefix = f"{page}/{research}", f"consent-{research}-"
    day = staff.case.today.isoformat()
    nobody = mend(nurse, page, action, what="change", **{f"{prefix}withdrawn_on": day})
    assert (
        nobody.status_code == 422 and f'<a href="#{prefix}withdrawn_by">Withdrawn by</a>: Say by whom.' in nobody.text
    )
    withdrawn = {
        f"{prefix}withdrawn_on": day,
        f"{prefix}withdrawn_by": "representative",
        f"{prefix}withdrawn_by_name": "B. Guard",
    }
    assert mend(nurse, page, action, what="change", **withdrawn).status_code == 302
    assert consents(staff, patient_id)["research"].withdrawn_by_name == "B. Guard"
    assert ("withdrawn_on", None, day, WHY) in reasons(staff)
    before = {f"{prefix}withdrawn_on": (staff.case.today - timedelta(days=1)).isoformat()}
    assert "before the day on which it was given" in mend(nurse, page, action, what="change", **before).text
    contact = consents(staff, patient_id)["contact"].id
    opened = inputs_of(nurse.get(page).text, f"{page}/{contact}")
    assert mend(nurse, page, f"{page}/{contact}", what="mistake").status_code == 302
    aside = {**opened, "what": "mistake", f"consent-{contact}-why": WHY}
    refused = read_tree(nurse.post(f"{page}/{contact}", aside).text).words
    assert "This consent was already set aside." in refused and "This: " not in refused
    agreed = read_tree(nurse.get(f"/patients/{patient_id}").text).words.partition("Agreed to")[2].partition(")")[0]
    assert "research (" in agreed and "withdrawn" in agreed and "contact" not in agreed
    linkage = {"kind": "linkage", "given_by": "self", "given_on": day}
    assert send(nurse, page, page, linkage).status_code == 302
    twice = send(nurse, page, page, linkage)
    assert twice.status_code == 422 and "stands since" in twice.text


def test_a_childs_consent_is_asked_for_again_once_of_age(staff: StaffCase, nurse: Staff) -> None:
    case = staff.case
    patient_id = case.enrol(birth_on=years_ago(case, 17), consents=("research",))
    page = f"/patients/{patient_id}/consents"
    assert consents(staff, patient_id)["research"].given_by is None
    assert "until then a parent or guardian decides" in nurse.get(page).text
    research = consents(staff, patient_id)["research"].id
    prefix = f"consent-{research}-"
    own = mend(nurse, page, f"{page}/{research}", what="change", **{f"{prefix}given_by": "self"})
    assert own.status_code == 422 and "of age on" in own.text
    parent = {f"{prefix}given_by": "parent", f"{prefix}given_by_name": "B. Arden"}
    assert mend(nurse, page, f"{page}/{research}", what="change", **parent).status_code == 302
    assert "ask again" not in nurse.get(page).text
    with case.store.writing() as session:
        the_clinic(session).majority_age = 16
    assert "ask again about use for research" in nurse.get(page).text
    with case.store.writing() as session:
        assert [propose_asking_again(session, now=case.now) for _again in range(2)] == [1, 0]
    assert page in nurse.get("/today").text and "s of age now" in nurse.get("/today").text
    assert "of age" in nurse.get(f"/patients/{patient_id}").text
    with case.store.writing() as session:
        session.get_one(Consent, research).given_on = years_ago(case, 2)
    again = {"kind": "research", "given_by": "self", "given_on": case.today.isoformat()}
    assert send(nurse, page, page, again).status_code == 302
    assert "ask again" not in nurse.get(page).text
    assert "s of age now" not in nurse.get("/today").text


def test_lost_capacity_names_the_representative_and_stops_messages(staff: StaffCase, nurse: Staff) -> None:
    patient_id = staff.case.enrol()
    page, action = f"/patients/{patient_id}/consents", f"/patients/{patient_id}/capacity"
    half = mend(nurse, page, action, capacity_then="stop")
    assert half.status_code == 422 and "Fill in all three" in half.text
    whole = {
        "capacity_then": "stop",
        "capacity_lost_on": staff.case.today.isoformat(),
        "representative": "B. Guard, son",
    }
    assert mend(nurse, page, action, **whole).status_code == 302
    kept = patient_of(staff, patient_id)
    assert (kept.representative, kept.capacity_then) == ("B. Guard, son", "stop")
    opened = inputs_of(nurse.get(page).text, action)
    mend(nurse, page, action, representative="C. Guard, daughter")
    second = nurse.post(action, {**opened, "capacity-why": WHY})
    assert second.status_code == 422 and "C. Guard" in second.text and "by Nell Nurse" in second.text
