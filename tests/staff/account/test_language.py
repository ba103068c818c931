"""The language of a member of staff: a setting of the account, which every page follows."""

import json
from urllib.parse import parse_qs, urlsplit

import pytest
from sqlalchemy import select

from server.models import AuditEntry, Clinic, StaffAccount
from tests.staff.html_page import read_page
from tests.staff.staff_case import SECRET, Staff, StaffCase
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


@pytest.mark.parametrize(
    ("accepted", "spoken"),
    [("es-MX,es;q=0.9,en;q=0.5", "es"), ("de,en-GB;q=0.7", "en"), ("de", "en"), ("de,es;q=0.1", "es")],
)
@pytest.mark.parametrize("path", ["/sign-in", "/invitation", "/nowhere"])
def test_before_anybody_has_signed_in_the_browser_s_language_is_spoken_where_there_is_one(
    staff: StaffCase, path: str, accepted: str, spoken: str
) -> None:
    page = staff.browser().get(path, headers={"Accept-Language": accepted})
    assert language_of(page.text) == spoken


@pytest.mark.parametrize("path", ["/sign-in", "/invitation"])
def test_before_signing_in_the_other_language_is_a_link_that_a_wrong_try_does_not_undo(
    staff: StaffCase, path: str
) -> None:
    browser = staff.browser()
    (link,) = read_page(browser.get(path).text).all("a", hreflang="es")
    assert link.text.strip() == "Español"
    spanish = browser.get(link.attributes["href"] or "")
    assert language_of(spanish.text) == "es"
    (form,) = read_page(spanish.text).all("form")
    secret = SECRET.findall(spanish.text)[0]
    wrong = {"form_secret": secret, "email": "nobody@clinic.example", "password": "wrong", "invitation": "wrong"}
    refused = browser.post(form.attributes["action"] or "", data=wrong)
    assert refused.status_code in (401, 422) and language_of(refused.text) == "es"
    (back,) = read_page(refused.text).all("a", hreflang="en")
    assert back.text.strip() == "English" and language_of(browser.get(back.attributes["href"] or "").text) == "en"


def test_the_link_keeps_where_somebody_wanted_to_go(staff: StaffCase) -> None:
    (link,) = read_page(staff.browser().get("/sign-in?next=/patients").text).all("a", hreflang="es")
    assert parse_qs(urlsplit(link.attributes["href"] or "").query) == {"next": ["/patients"], "language": ["es"]}


def test_the_browser_s_language_is_nothing_to_whoever_has_signed_in(nurse: Staff) -> None:
    page = nurse.get("/today?language=es", headers={"Accept-Language": "es"}).text
    assert language_of(page) == "en" and not read_page(page).all("a", hreflang="es")


@pytest.mark.parametrize(("languages", "spoken"), [("es,en", "es"), ("de,es", "en")])
def test_without_a_choice_it_is_the_clinic_s_first_language_or_else_english(
    staff: StaffCase, languages: str, spoken: str
) -> None:
    with staff.case.store.writing() as session:
        session.scalars(select(Clinic)).one().languages = languages
    page = staff.browser().get("/sign-in").text
    assert language_of(page) == spoken
    assert ("Contraseña" if spoken == "es" else "Password") in page
