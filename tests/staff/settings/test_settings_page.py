"""The settings page: the data manager changes what patients are told while the server runs, and undoes nobody's change unseen."""

import json
import threading
import time
from typing import Any

import pytest
from sqlalchemy import select

from server.clinic.settings import change_settings
from server.fields.field import Value
from server.jobs.clock import channels_of
from server.models import AuditEntry, Clinic, FieldChange, Link, StaffAccount
from server.queries.clock import the_clinic
from server.reminders.channels.email.channel import EmailChannel
from tests.staff.html_page import Page, read_page
from tests.staff.staff_case import Staff, StaffCase

# What a page says is the same on either database.
pytestmark = pytest.mark.parametrize("database_url", ["sqlite"], indirect=True, scope="module")


@pytest.fixture
def manager(staff: StaffCase) -> Staff:
    return staff.sign_in("data_manager")


def inputs_of(page: Page) -> dict[str, str]:
    """Every field of the settings' form as a browser would send it back."""
    found = {}
    for element in page.elements:
        if element.tag not in ("input", "textarea"):
            continue
        name = element.attributes.get("name", "")
        if name and name != "form_secret" and element.attributes.get("type") != "checkbox":
            found[name] = element.text if element.tag == "textarea" else element.attributes.get("value", "")
    return found


def shown(manager: Staff) -> dict[str, str]:
    return inputs_of(read_page(manager.get("/settings").text))


def clinic_of(staff: StaffCase) -> Clinic:
    with staff.case.store.reading() as session:
        return the_clinic(session)


def staff_name(staff: StaffCase) -> str:
    with staff.case.store.reading() as session:
        return session.get_one(StaffAccount, staff.account_id("nurse")).name


def changed_by_nurse(staff: StaffCase, **values: Value) -> None:
    with staff.case.store.writing() as session:
        change_settings(session, values, now=staff.case.now, by_id=staff.account_id("nurse"))


def test_a_new_number_is_saved_and_the_page_says_who_changed_what_and_why(staff: StaffCase, manager: Staff) -> None:
    answer = manager.post("/settings", {**shown(manager), "phone": "555 0200", "why": "a new line"})
    assert (answer.status_code, answer.location) == (302, "/settings?done=settings")
    assert clinic_of(staff).phone == "555 0200"
    page = manager.get(answer.location).text
    assert (
        "“555 0100” became “555 0200”, by" in page and "Why: a new line." in page and "The settings are saved." in page
    )
    with staff.case.store.reading() as session:
        (entry,) = session.scalars(select(AuditEntry).where(AuditEntry.action == "clinic:changed"))
        assert (json.loads(entry.detail or "")["after"], entry.by_id) == (
            {"phone": "555 0200"},
            staff.account_id("data_manager"),
        )


def test_the_lines_of_a_list_stand_apart_in_the_history(manager: Staff) -> None:
    assert manager.post("/settings", {**shown(manager), "surgeons": "Iris Vale\r\nTom Ashdown"}).status_code == 302
    assert "became “Iris Vale, Tom Ashdown”, by" in manager.get("/settings").text


def test_phones_get_what_was_changed_with_their_next_sheet(staff: StaffCase, manager: Staff) -> None:
    case = staff.case
    spanish = case.enrol(language="es")
    english = case.enrol(first_name="Bela", last_name="Other")
    hours = {"phone_hours-en": "Mondays", "phone_hours-es": "los lunes"}
    assert manager.post("/settings", {**shown(manager), **hours}).status_code == 302
    with case.store.reading() as session:
        assert set(session.scalars(select(Link.sheet_stale))) == {True}
    told = {}
    for patient_id in (spanish, english):
        case.publish(patient_id)
        phone = case.phone(patient_id)
        phone.fetch()
        told[patient_id] = phone.sheet["clinic"]["phone_hours"]
    assert told == {spanish: "los lunes", english: "Mondays"}


def test_a_language_without_hours_of_its_own_is_told_those_of_the_first(staff: StaffCase, manager: Staff) -> None:
    patient_id = staff.case.enrol(language="es")
    assert shown(manager)["phone_hours-es"] == ""
    phone = staff.case.phone(patient_id)
    phone.fetch()
    assert phone.sheet["clinic"]["phone_hours"] == "Monday to Friday, 8 to 16"


@pytest.mark.parametrize(
    ("changed", "field", "sentence"),
    [
        ({"name": " "}, "name", "Enter the name."),
        ({"phone": "the office"}, "phone", "is not a telephone number"),
        ({"closed_phone": "see our 2 doors, 8 to 16"}, "closed_phone", "Write one number, in digits without words"),
        ({"emergency_number": ""}, "emergency_number", "Enter the emergency number."),
        ({"emergency_number": "112 / 061"}, "emergency_number", "Write one number, in digits and blanks only"),
        ({"time_zone": "Europe/Atlantis"}, "time_zone", "is not a time zone"),
        ({"base_url": "http://followup.clinic.test"}, "base_url", "write the address that patients reach"),
        ({"languages": "en,sp"}, "languages", "is no list of languages"),
        ({"mail_from": "the office"}, "mail_from", "is no sender"),
        ({"phone_hours-en": ""}, "phone_hours", "first language (en)"),
        ({"phone_hours-en": "555 0100"}, "phone_hours", "does not say when the telephone is answered"),
        ({"why": "x" * 201}, "why", "longer than 200 characters"),
    ],
)
def test_what_cannot_be_is_said_at_its_field_and_nothing_is_saved(
    staff: StaffCase, manager: Staff, changed: dict[str, str], field: str, sentence: str
) -> None:
    hours = {"phone_hours-es": "los lunes"}
    answer = manager.post("/settings", {**shown(manager), **hours, **changed})
    assert answer.status_code == 422
    page = read_page(answer.text)
    assert sentence in next(each.text for each in page.all("div") if "data-errors" in each.attributes)
    assert page.all("a", href=f"#{field}") and any(each.attributes.get("id") == field for each in page.elements)
    assert inputs_of(page)["phone_hours-es"] == "los lunes"
    with staff.case.store.reading() as session:
        assert session.scalars(select(FieldChange)).all() == []


def test_anothers_change_is_never_undone_unseen(staff: StaffCase, manager: Staff) -> None:
    opened = shown(manager)
    changed_by_nurse(staff, phone="555 0300")
    answer = manager.post("/settings", {**opened, "closed_phone": "555 0400"})
    assert answer.status_code == 422
    assert (
        "Changed meanwhile" in answer.text and f"by {staff_name(staff)}" in answer.text and "“555 0300”" in answer.text
    )
    clinic = clinic_of(staff)
    assert (clinic.phone, clinic.closed_phone) == ("555 0300", "555 0101")
    again = inputs_of(read_page(answer.text))
    assert (again["phone"], again["closed_phone"]) == ("555 0300", "555 0400")
    assert manager.post("/settings", again).status_code == 302
    clinic = clinic_of(staff)
    assert (clinic.phone, clinic.closed_phone) == ("555 0300", "555 0400")


def test_both_changed_the_same_setting_and_what_was_typed_stays_until_it_is_saved_again(
    staff: StaffCase, manager: Staff
) -> None:
    opened = shown(manager)
    changed_by_nurse(staff, phone="555 0300")
    again = inputs_of(read_page(manager.post("/settings", {**opened, "phone": "555 0400"}).text))
    assert (again["phone"], again["was-phone"], clinic_of(staff).phone) == ("555 0400", "555 0300", "555 0300")


@pytest.mark.parametrize(
    ("changed", "follows"),
    [
        ({"time_zone": "Atlantic/Canary"}, "day changes with its time zone"),
        ({"base_url": "https://new.clinic.test/"}, "lead to the old address"),
    ],
)
def test_a_new_zone_or_address_is_saved_once_what_follows_was_read(
    staff: StaffCase, manager: Staff, changed: dict[str, str], follows: str
) -> None:
    answer = manager.post("/settings", {**shown(manager), **changed})
    assert answer.status_code == 422 and follows in answer.text
    kept: dict[str, Any] = {name: getattr(clinic_of(staff), name) for name in changed}
    assert kept not in (changed, {})
    assert manager.post("/settings", {**inputs_of(read_page(answer.text)), "sure": "yes"}).status_code == 302
    assert {name: getattr(clinic_of(staff), name) for name in changed} == {
        name: text.rstrip("/") for name, text in changed.items()
    }


def test_the_clinics_sender_goes_before_the_one_of_the_environment(staff: StaffCase, manager: Staff) -> None:
    def sender() -> str:
        channel = channels_of(staff.case.runtime)["email"]
        assert isinstance(channel, EmailChannel)
        return channel.sender

    assert sender() == staff.case.runtime.settings.mail_from
    own = "Harbour <office@harbour-shoulder.test>"
    assert manager.post("/settings", {**shown(manager), "mail_from": own}).status_code == 302
    assert sender() == own
    with staff.case.store.reading() as session:
        (entry,) = session.scalars(select(AuditEntry).where(AuditEntry.action == "clinic:changed"))
    assert json.loads(entry.detail or "") == {"fields": ["mail_from"], "before": {}, "after": {}}


def test_surgeons_of_the_settings_are_offered_where_an_operation_is_entered(
    staff: StaffCase, manager: Staff, nurse: Staff
) -> None:
    names = {"surgeons": "Dr Quillhurst\r\n\r\nDr Alvarenda\r\n"}
    assert manager.post("/settings", {**shown(manager), **names}).status_code == 302
    offered = nurse.get("/patients/new").text.split('<datalist id="surgeons">')[1].split("</datalist>")[0]
    assert offered.count("<option") == 2 and "Dr Alvarenda" in offered
    with staff.case.store.reading() as session:
        (entry,) = session.scalars(select(AuditEntry).where(AuditEntry.action == "clinic:changed"))
        assert "Quillhurst" not in (entry.detail or "")


def test_saving_without_a_change_leaves_no_trace(staff: StaffCase, manager: Staff) -> None:
    assert manager.post("/settings", shown(manager)).status_code == 302
    with staff.case.store.reading() as session:
        assert session.scalars(select(FieldChange)).all() == []
        assert "clinic:changed" not in session.scalars(select(AuditEntry.action)).all()


def test_a_live_clinic_keeps_a_sender_whom_patients_can_answer(staff: StaffCase, manager: Staff) -> None:
    own = "Harbour <office@harbour-shoulder.test>"
    assert manager.post("/settings", {**shown(manager), "mail_from": own}).status_code == 302
    with staff.case.store.writing() as session:
        the_clinic(session).mode, the_clinic(session).clock_real_at = "live", None
    answer = manager.post("/settings", {**shown(manager), "mail_from": ""})
    assert answer.status_code == 422 and "belong to nobody" in answer.text
    assert clinic_of(staff).mail_from == own


def test_a_language_that_comes_first_from_now_on_can_be_given_its_hours(staff: StaffCase, manager: Staff) -> None:
    answer = manager.post("/settings", {**shown(manager), "languages": "ca,en,es"})
    assert answer.status_code == 422 and "first language (ca)" in answer.text
    again = inputs_of(read_page(answer.text))
    assert again["languages"] == "ca,en,es"
    again |= {"phone_hours-ca": "dilluns", "sure": "yes"}
    assert "phone_hours-ca" in inputs_of(read_page(answer.text))
    assert manager.post("/settings", again).status_code == 302
    assert clinic_of(staff).phone_hours["ca"] == "dilluns"


def test_two_who_save_at_one_moment_do_not_undo_each_other(staff: StaffCase, manager: Staff) -> None:
    opened, codes = shown(manager), []

    def save() -> None:
        codes.append(manager.post("/settings", {**opened, "phone": "555 0400"}).status_code)

    other = threading.Thread(target=save)
    with staff.case.store.writing() as session:
        change_settings(session, {"phone": "555 0300"}, now=staff.case.now, by_id=staff.account_id("nurse"))
        other.start()
        time.sleep(1)  # long enough for the other to read what is not yet committed, if it does not wait
    other.join(timeout=30)
    assert (codes, clinic_of(staff).phone) == ([422], "555 0300")


def test_an_odd_number_from_before_stands_until_it_is_changed(staff: StaffCase, manager: Staff) -> None:
    with staff.case.store.writing() as session:
        session.get_one(Clinic, 1).closed_phone = "lunes a viernes, de 8 a 16"
    assert manager.post("/settings", {**shown(manager), "name": "Another name"}).status_code == 302
    kept = clinic_of(staff)
    assert (kept.name, kept.closed_phone) == ("Another name", "lunes a viernes, de 8 a 16")
    refused = manager.post("/settings", {**shown(manager), "closed_phone": "lunes a jueves"})
    assert refused.status_code == 422 and clinic_of(staff).closed_phone == "lunes a viernes, de 8 a 16"
