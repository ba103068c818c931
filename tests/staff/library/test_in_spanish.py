"""Whoever reads the staff pages in Spanish reads instruments and languages there in Spanish; a proper name stays as it is."""

import pytest

from scoring.library import load_library
from server.words.labels import INSTRUMENT_TITLES
from tests.staff.html_page import read_page
from tests.staff.staff_case import StaffCase

# What a page says is the same on either database.
pytestmark = pytest.mark.parametrize("database_url", ["sqlite"], indirect=True, scope="module")

PROPER_NAMES = {
    "DASH", "Oxford Shoulder Score", "PROMIS Global Health v1.2", "Penn Shoulder Score", "QuickDASH", "Shoulder Pain and Disability Index",
    "Simple Shoulder Test", "Single Assessment Numeric Evaluation", "Western Ontario Osteoarthritis of the Shoulder index",
    "Western Ontario Rotator Cuff index", "Western Ontario Shoulder Instability index",
}  # fmt: skip


def test_every_instrument_has_a_proper_name_or_words_that_are_translated(staff: StaffCase) -> None:
    titles = {each.title for each in load_library().definitions.values()}
    assert titles == PROPER_NAMES | {each.text for each in INSTRUMENT_TITLES}


@pytest.mark.parametrize("page", ["/texts", "/instruments"])
def test_the_lists_name_instruments_and_languages_in_spanish(staff: StaffCase, page: str) -> None:
    manager = staff.sign_in("data_manager")
    assert manager.post("/account/language", {"language": "es"}).status_code == 302
    said = read_page(manager.get(page).text).words
    assert "Las primeras semanas" in said and "Simple Shoulder Test" in said
    english = {each.text for each in INSTRUMENT_TITLES} | {"Spanish", "English"}
    assert [each for each in english if each in said] == []


def test_languages_are_named_in_spanish_where_one_is_chosen(staff: StaffCase) -> None:
    nurse = staff.sign_in("nurse")
    assert nurse.post("/account/language", {"language": "es"}).status_code == 302
    options = read_page(nurse.get("/patients/new").text).all("option")
    assert {each.text for each in options if each.attributes.get("value") in ("en", "es")} == {"Inglés", "Español"}
