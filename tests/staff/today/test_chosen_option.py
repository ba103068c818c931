"""Of a safety answer the option is quoted that the patient chose, in the words in which it was asked; the urgent ones come first."""

import re
from datetime import timedelta

import pytest
from sqlalchemy import select, update

from server.clinic.entries import ShoulderEntry
from server.models import Flag, Patient, Response
from server.texts.check import check_file
from server.texts.install import install_text
from tests.staff.html_page import read_page
from tests.staff.staff_case import Staff, StaffCase
from tests.staff.visited import open_timepoint
from tests.texts.making import licence, text_file

# What a page says is the same on either database.
pytestmark = pytest.mark.parametrize("database_url", ["sqlite"], indirect=True, scope="module")

SHIVERS, FEVER = "A fever with shaking, or feeling confused", "Yes, a fever"
COLD, NUMB = "It is suddenly cold, white or blue", "It is numb"


def six_weeks(staff: StaffCase, values: dict[str, int], *, language: str = "en", name: str = "Ada") -> int:
    """The id of a patient who answered the form of the first weeks."""
    operated = ShoulderEntry(side="left", surgery_on=staff.case.today - timedelta(days=42))
    patient_id = staff.case.enrol(operated, first_name=name)
    staff.answer(open_timepoint(staff, patient_id, "week-6"), values, on=staff.case.today, language=language)
    return patient_id


def pages(staff: StaffCase, patient_id: int) -> dict[str, str]:
    """What a nurse reads of the answer at each of the three places."""
    nurse = staff.sign_in("nurse")
    with staff.case.store.reading() as session:
        flag_id = session.scalars(select(Flag.id).where(Flag.patient_id == patient_id).order_by(Flag.id)).first()
    paths = {"today": "/today", "patient": f"/patients/{patient_id}", "flag": f"/flags/{flag_id}"}
    return {name: read_page(nurse.get(path).text).words for name, path in paths.items()}


def places_that_say(said: str, read: dict[str, str]) -> set[str]:
    return {name for name, words in read.items() if said in words}


EVERYWHERE = {"today", "patient", "flag"}


def test_the_option_that_was_chosen_is_quoted_and_none_that_was_not(staff: StaffCase) -> None:
    read = pages(staff, six_weeks(staff, {"early@2/3": 1, "early@2/4": 1}))
    assert places_that_say(FEVER, read) == places_that_say(NUMB, read) == EVERYWHERE
    assert places_that_say(SHIVERS, read) == places_that_say(COLD, read) == set()
    assert places_that_say("call the emergency number at once", read) == set()


def test_it_stands_in_the_words_that_the_patient_read_and_then_in_those_of_who_reads_it_now(
    staff: StaffCase, nurse: Staff
) -> None:
    patient_id = six_weeks(staff, {"early@2/3": 2}, language="es")
    read = pages(staff, patient_id)
    assert places_that_say("“Fiebre con temblores o confusión” (in English: “" + SHIVERS, read) == {"today", "patient"}
    assert places_that_say(f"Fiebre con temblores o confusión In English: “{SHIVERS}”", read) == {"flag"}
    assert places_that_say(FEVER, read) == places_that_say("Sí, fiebre", read) == set(), "no option that was not chosen"
    with staff.case.store.reading() as session:
        flag_id = session.scalars(select(Flag.id)).one()
    assert '<dd lang="es" dir="ltr">Fiebre con temblores' in nurse.get(f"/flags/{flag_id}").text
    assert places_that_say("call the emergency number at once", read) == {"today", "flag"}


def test_who_reads_the_language_of_the_patient_sees_the_words_once(staff: StaffCase) -> None:
    read = pages(staff, six_weeks(staff, {"early@2/3": 2}, language="en"))
    assert places_that_say(SHIVERS, read) == EVERYWHERE
    assert places_that_say("in English: “", read) == places_that_say("In English: “", read) == set()


def test_a_nurse_who_reads_spanish_has_the_spanish_words_beside_english_ones(staff: StaffCase) -> None:
    patient_id = six_weeks(staff, {"early@2/3": 2})
    staff.sign_in("nurse").post("/account/language", {"language": "es"})
    read = pages(staff, patient_id)
    assert places_that_say(f"“{SHIVERS}” (en español: “Fiebre con temblores o confusión”)", read) == {
        "today",
        "patient",
    }
    assert places_that_say(f"{SHIVERS} En español: “Fiebre con temblores o confusión”", read) == {"flag"}


def test_the_words_of_who_reads_it_are_those_that_the_clinic_installed(staff: StaffCase) -> None:
    patient_id = six_weeks(staff, {"early@2/3": 2}, language="es")
    own = check_file(text_file("early@2", "en"), staff.case.runtime.library)
    with staff.case.store.writing() as session:
        install_text(session, own, licence(), now=staff.case.now, by_id=None)
    read = pages(staff, patient_id)
    assert places_that_say("in English: “invented option 2”", read) == {"today", "patient"}
    assert places_that_say(SHIVERS, read) == set()


def test_who_may_need_the_emergency_number_comes_first_and_the_row_says_why(staff: StaffCase, nurse: Staff) -> None:
    six_weeks(staff, {"early@2/3": 1}, name="Early")
    six_weeks(staff, {"early@2/4": 2}, name="Urgent")
    six_weeks(staff, {"early@2/2": 1}, name="Third")
    six_weeks(staff, {"early@2/6": 1, "early@2/5": 1}, name="Breath")
    page = read_page(nurse.get("/today").text)
    names = [link.text.split()[0] for link in page.all("a") if "data-open" in link.attributes]
    assert names[:4] == ["Urgent", "Breath", "Early", "Third"]
    assert page.words.count("call the emergency number at once") == 2


def test_an_answer_that_cannot_be_read_is_said_to_be_unknown_and_counts_as_urgent(
    staff: StaffCase, nurse: Staff
) -> None:
    six_weeks(staff, {"early@2/2": 1}, name="Known")
    patient_id = six_weeks(staff, {"early@2/3": 1}, name="Keyless")
    with staff.case.store.reading() as session:
        handle = session.get_one(Patient, patient_id).handle
    staff.case.runtime.keys.erase_patient_key(handle)  # the folder lost it; the patient's row knows of no erasure
    read = pages(staff, patient_id)
    assert places_that_say("the key of this patient is not in the key folder", read) == EVERYWHERE
    assert places_that_say(FEVER, read) == places_that_say(SHIVERS, read) == set()
    names = re.findall(r"data-open[^>]*>(\w+)", nurse.get("/today").text)
    assert names[:2] == ["Keyless", "Known"]


def test_erased_answers_are_said_to_be_erased(staff: StaffCase) -> None:
    patient_id = six_weeks(staff, {"early@2/4": 2})
    with staff.case.store.writing() as session:
        session.get_one(Patient, patient_id).erased_at = staff.case.now
    read = pages(staff, patient_id)
    assert places_that_say("the answers of this patient were erased", read) == EVERYWHERE
    assert places_that_say(COLD, read) == set()


def test_altered_answers_are_said_not_to_open(staff: StaffCase) -> None:
    patient_id = six_weeks(staff, {"early@2/4": 2})
    with staff.case.store.writing() as session:
        session.execute(update(Response).values(answers=b"altered"))
    assert places_that_say("the answers do not open under this patient's key", pages(staff, patient_id)) == EVERYWHERE
