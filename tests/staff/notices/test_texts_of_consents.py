"""Which text a consent was given to: chosen when enrolling and on the page Consents, and shown with a link to the very words."""

import re
from datetime import date
from io import BytesIO
from typing import Any

import pytest
from pypdf import PdfReader
from sqlalchemy import select

from server.models import ClinicNotice, Consent
from server.texts.notices import Wording, end_version, install_version
from tests.staff.sent_form import inputs_of, send
from tests.staff.staff_case import StaffCase
from tests.staff.visited import fill_clinic

pytestmark = pytest.mark.parametrize("database_url", ["sqlite"], indirect=True, scope="module")

WORDS = {"en": Wording("Research", "We ask."), "es": Wording("Investigación", "Preguntamos.")}
NEW = {
    "first_name": "Bela",
    "last_name": "Newcomer",
    "birth_on": "1957-03-28",
    "left_shoulder": "yes",
    "email": "bela@patient.example",
    "channel_order": "email",
    "language": "es",
    "consent_contact": "yes",
    "consent_research": "yes",
}


def install(staff: StaffCase, kind: str, version: str = "7", replaces: str = "") -> None:
    with staff.case.store.writing() as session:
        install_version(session, kind, version, WORDS, replaces=replaces, now=staff.case.now, by_id=None)


def text_id(staff: StaffCase, kind: str, language: str, version: str = "7") -> int:
    wanted = select(ClinicNotice.id).filter_by(kind=kind, language=language, version=version)
    with staff.case.store.reading() as session:
        return session.scalars(wanted).one()


def consents(staff: StaffCase, patient_id: int) -> dict[str, tuple[str, int | None]]:
    """By kind: version and text."""
    with staff.case.store.reading() as session:
        rows = session.scalars(select(Consent).where(Consent.patient_id == patient_id).order_by(Consent.id))
        return {row.kind: (row.version, row.notice_id) for row in rows}


def enrol(staff: StaffCase, **fields: str) -> int:
    nurse = staff.sign_in("nurse")
    page = inputs_of(nurse.get("/patients/new").text, "/patients/new")
    done = nurse.post("/patients/new", {**page, **NEW, **fields})
    assert done.status_code == 302, done.text
    return int(re.findall(r"/patients/(\d+)/", done.location)[0])


def test_enrolling_records_the_text_in_force_and_asks_nothing_where_there_is_none(staff: StaffCase) -> None:
    assert "Which texts were read" not in staff.sign_in("nurse").get("/patients/new").text
    install(staff, "research")
    found = consents(staff, enrol(staff))
    assert found == {"contact": ("1", None), "research": ("7", text_id(staff, "research", "es"))}


def test_another_text_or_a_paper_that_is_not_here_can_be_said_when_enrolling(staff: StaffCase) -> None:
    install(staff, "research")
    install(staff, "contact")
    english = str(text_id(staff, "research", "en"))
    patient = enrol(staff, notice_research=english, notice_contact="typed", version_contact="B-2")
    assert consents(staff, patient) == {"contact": ("B-2", None), "research": ("7", int(english))}


def test_what_cannot_be_about_a_text_is_said_at_its_field(staff: StaffCase) -> None:
    install(staff, "research")
    install(staff, "contact")
    nurse = staff.sign_in("nurse")
    wrong = {"notice_research": str(text_id(staff, "contact", "en")), "notice_contact": "typed"}
    refused = nurse.post("/patients/new", {**NEW, **wrong, "version_contact": "x" * 21})
    assert refused.status_code == 422
    assert 'href="#notice_research"' in refused.text and 'href="#version_contact"' in refused.text
    assert "about something else" in refused.text


def test_a_version_that_came_while_the_enrolment_page_was_open_is_asked_about(staff: StaffCase) -> None:
    install(staff, "research")
    nurse = staff.sign_in("nurse")
    opened = {**inputs_of(nurse.get("/patients/new").text, "/patients/new"), **NEW}
    install(staff, "research", "8", replaces="7")
    asked = nurse.post("/patients/new", opened)
    assert asked.status_code == 422
    assert (
        "Version 8 came into force while this page was open" in asked.text and 'href="#notice_research"' in asked.text
    )
    again = {**inputs_of(asked.text, "/patients/new"), "consent_contact": "yes", "consent_research": "yes"}
    assert (again["first_name"], again["notice_research"]) == ("Bela", "in_force"), "nothing typed is lost"
    assert nurse.post("/patients/new", again).status_code == 422, "asked until a text is named"
    read = text_id(staff, "research", "es")
    done = nurse.post("/patients/new", {**again, "notice_research": str(read)})
    patient = int(re.findall(r"/patients/(\d+)/", done.location)[0])
    assert consents(staff, patient)["research"] == ("7", read)


def test_the_first_text_or_the_end_of_the_last_is_asked_about_too(staff: StaffCase) -> None:
    nurse = staff.sign_in("nurse")
    install(staff, "contact")
    opened = {**inputs_of(nurse.get("/patients/new").text, "/patients/new"), **NEW}
    install(staff, "research")
    with staff.case.store.writing() as session:
        end_version(session, "contact", "7", why="asked no more", now=staff.case.now, by_id=None)
    asked = nurse.post("/patients/new", opened)
    assert asked.status_code == 422
    assert "Version 7 came into force" in asked.text and 'href="#notice_research"' in asked.text
    assert "Version 7 was taken out of force" in asked.text and 'id="notice_contact"' in asked.text


def test_a_version_that_came_while_the_page_of_consents_was_open_is_asked_about(staff: StaffCase) -> None:
    patient = staff.case.enrol(consents=())
    page = f"/patients/{patient}/consents"
    nurse = staff.sign_in("nurse")
    install(staff, "linkage")
    opened = inputs_of(nurse.get(page).text, page)
    opened |= {"kind": "linkage", "given_on": staff.case.today.isoformat(), "given_by": "self"}
    install(staff, "linkage", "8", replaces="7")
    asked = nurse.post(page, opened)
    assert asked.status_code == 422 and "Version 8 came into force while this page was open" in asked.text
    again = inputs_of(asked.text, page)
    assert nurse.post(page, again).status_code == 422
    read = text_id(staff, "linkage", "en", "8")
    assert nurse.post(page, {**again, "notice": str(read)}).status_code == 302
    assert consents(staff, patient)["linkage"] == ("8", read)


def test_a_page_of_consents_from_before_the_first_text_asks_which_was_read(staff: StaffCase) -> None:
    patient = staff.case.enrol(consents=())
    page = f"/patients/{patient}/consents"
    nurse = staff.sign_in("nurse")
    opened = inputs_of(nurse.get(page).text, page)
    opened |= {"kind": "linkage", "given_on": staff.case.today.isoformat(), "given_by": "self"}
    install(staff, "linkage", "1")
    assert "came into force while this page was open" in nurse.post(page, opened).text
    assert consents(staff, patient) == {}


def test_a_consent_of_an_earlier_day_is_not_asked_about_a_text_of_today(staff: StaffCase) -> None:
    patient = staff.case.enrol(consents=())
    page = f"/patients/{patient}/consents"
    nurse = staff.sign_in("nurse")
    opened = inputs_of(nurse.get(page).text, page)
    opened |= {"kind": "linkage", "given_on": "2019-05-01", "given_by": "self", "version": "B"}
    install(staff, "linkage")
    assert nurse.post(page, opened).status_code == 302
    assert consents(staff, patient) == {"linkage": ("B", None)}


def given(staff: StaffCase, patient_id: int, **fields: Any) -> Any:
    page = f"/patients/{patient_id}/consents"
    said = {"kind": "linkage", "given_on": staff.case.today.isoformat(), "given_by": "self"}
    return send(staff.sign_in("nurse"), page, page, {**said, **fields})


def test_a_consent_given_later_has_the_text_of_its_day_and_leads_to_the_words(staff: StaffCase) -> None:
    patient = fill_clinic(staff).patient_id
    install(staff, "privacy", replaces="1")
    install(staff, "linkage", replaces="1")
    assert given(staff, patient).status_code == 302
    english = text_id(staff, "linkage", "en")
    assert consents(staff, patient)["linkage"] == ("7", english)
    page = staff.sign_in("nurse").get(f"/patients/{patient}/consents").text
    assert f'to <a href="/notices/{english}">version 7</a>' in page
    assert "Privacy notice of that day" in page
    assert (
        f'<a href="/notices/{english}">linkage with registers</a>'
        in staff.sign_in("nurse").get(f"/patients/{patient}").text
    )


def test_a_paper_of_a_day_before_the_texts_needs_its_version_typed(staff: StaffCase) -> None:
    patient = fill_clinic(staff).patient_id
    install(staff, "linkage", replaces="1")
    refused = given(staff, patient, given_on="2019-05-01")
    assert refused.status_code == 422 and "no text of the clinic was in force" in refused.text
    assert given(staff, patient, given_on="2019-05-01", version="C").status_code == 302
    assert consents(staff, patient)["linkage"] == ("C", None)


def test_a_correction_names_another_text_and_the_history_tells_both(staff: StaffCase) -> None:
    install(staff, "research")
    patient = staff.case.enrol()
    with staff.case.store.reading() as session:
        consent = session.scalars(select(Consent.id).where(Consent.kind == "research")).one()
    spanish = text_id(staff, "research", "es")
    page, action = f"/patients/{patient}/consents", f"/patients/{patient}/consents/{consent}"
    changed = {f"consent-{consent}-notice": str(spanish), f"consent-{consent}-why": "read in Spanish", "what": "change"}
    assert send(staff.sign_in("nurse"), page, action, changed).status_code == 302
    assert consents(staff, patient)["research"] == ("7", spanish)
    history = staff.sign_in("nurse").get(page).text
    assert "Text that was agreed to" in history and "version 7, Spanish" in history


def test_an_old_consent_stays_as_it_was_when_something_else_of_it_is_corrected(staff: StaffCase) -> None:
    patient = staff.case.enrol()
    install(staff, "research")
    with staff.case.store.reading() as session:
        consent = session.scalars(select(Consent.id).where(Consent.kind == "research")).one()
    page, action = f"/patients/{patient}/consents", f"/patients/{patient}/consents/{consent}"
    ended = {
        f"consent-{consent}-withdrawn_on": date(2026, 6, 15).isoformat(),
        f"consent-{consent}-withdrawn_by": "self",
    }
    changed = {**ended, f"consent-{consent}-why": "said so", "what": "change"}
    assert send(staff.sign_in("nurse"), page, action, changed).status_code == 302
    assert consents(staff, patient)["research"] == ("1", None)


def test_the_whole_file_of_a_patient_holds_the_words_that_were_agreed_to(staff: StaffCase) -> None:
    install(staff, "research")
    install(staff, "linkage")
    patient = staff.case.enrol(language="es")
    nurse = staff.sign_in("nurse")
    file = nurse.post(f"/patients/{patient}/file", {"as": "json"}).get_json()
    [text] = file["tables"]["clinic_notice"]
    assert (text["kind"], text["language"], text["content"]) == ("research", "es", "Preguntamos.")
    [consent] = [each for each in file["tables"]["consent"] if each["kind"] == "research"]
    assert consent["notice_id"] == text["id"]
    pdf = nurse.post(f"/patients/{patient}/file", {"as": "pdf"}).data
    words = " ".join(" ".join(page.extract_text() for page in PdfReader(BytesIO(pdf)).pages).split())
    assert "De qué trata: uso para la investigación" in words and "Idioma: español" in words
