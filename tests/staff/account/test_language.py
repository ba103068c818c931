"""The language of a member of staff: a setting of the account, which every page follows."""

import json

import pytest
from sqlalchemy import select

from server.models import AuditEntry, Clinic, StaffAccount
from tests.staff.html_page import read_page
from tests.staff.staff_case import Staff, StaffCase
from tests.staff.visited import fill_clinic

# What a page says is the same on either database.
pytestmark = pytest.mark.parametrize("database_url", ["sqlite"], indirect=True, scope="module")


def choose(staff: Staff, language: str) -> int:
    return staff.post("/account/language", {"language": language}).status_code


def language_of(page: str) -> str | None:
    return read_page(page).all("html")[0].attributes.get("lang")


def test_pages_speak_the_language_that_is_chosen_on_the_account_page(staff: StaffCase, nurse: Staff) -> None:
    fill_clinic(staff)
    english = nurse.get("/today").text
    assert language_of(english) == "en" and "to reach today" in english
    assert choose(nurse, "es") == 302
    spanish = nurse.get("/today").text
    assert language_of(spanish) == "es"
    assert "por contactar hoy" in spanish and ">Pacientes</a>" in spanish and "to reach today" not in spanish
    assert choose(nurse, "") == 302
    assert "to reach today" in nurse.get("/today").text


def test_the_choice_is_in_the_audit_trail_and_for_this_account_alone(staff: StaffCase, nurse: Staff) -> None:
    choose(nurse, "es")
    with staff.case.store.reading() as session:
        accounts = {each.role: each.language for each in session.scalars(select(StaffAccount))}
        entry = session.scalars(select(AuditEntry).where(AuditEntry.action == "account:language")).one()
        detail = json.loads(entry.detail or "{}")
    assert accounts["nurse"] == "es" and accounts["surgeon"] is None
    assert (entry.by_id, detail) == (staff.account_id("nurse"), {"language": "es"})
    assert language_of(staff.sign_in("surgeon").get("/today").text) == "en"


def test_a_language_without_a_catalogue_cannot_be_chosen(nurse: Staff) -> None:
    assert choose(nurse, "xx") == 400


@pytest.mark.parametrize(("languages", "spoken"), [("es,en", "es"), ("de,es", "en")])
def test_without_a_choice_it_is_the_clinic_s_first_language_or_else_english(
    staff: StaffCase, languages: str, spoken: str
) -> None:
    with staff.case.store.writing() as session:
        session.scalars(select(Clinic)).one().languages = languages
    page = staff.browser().get("/sign-in").text
    assert language_of(page) == spoken
    assert ("Contraseña" if spoken == "es" else "Password") in page
