"""A patient whose language is read from the right and not spoken by the app: the owner's words stand in it, the rest in English."""

import pytest
from playwright.sync_api import Locator
from sqlalchemy import select

from scoring.library import load_library
from server.models import Clinic, Response
from server.texts.check import check_file
from server.texts.install import install_text
from tests.journeys.phone import DECLINE, WEEK_6, WEEK_6_DAYS, Phone
from tests.journeys.site import BORN, Site
from tests.journeys.staff import sign_in
from tests.texts.making import licence, text_file

pytestmark = pytest.mark.xdist_group("chromium")

INVENTED = "كلمات مخترعة 0–10"  # "invented words"


def install_arabic(site: Site) -> None:
    with site.case.store.writing() as session:
        session.scalars(select(Clinic)).one().languages = "en,ar"
        for spec in ("pain@1", "pass@1"):
            checked = check_file(text_file(spec, "ar", words=INVENTED), load_library())
            install_text(session, checked, licence(), now=site.case.now, by_id=None)


def reads(place: Locator) -> tuple[str | None, str | None, str]:
    """The language and direction an element is marked with, and the direction it is laid out in."""
    laid_out = str(place.evaluate("element => getComputedStyle(element).direction"))
    return place.get_attribute("lang"), place.get_attribute("dir"), laid_out


def test_the_owners_words_run_from_the_right_and_the_app_from_the_left(site: Site, phone: Phone) -> None:
    install_arabic(site)
    patient_id = site.enrol(language="ar", operated_days_ago=WEEK_6_DAYS)
    phone.come_in(site.link(patient_id), BORN)
    phone.start_form()
    phone.answer_all({key: value for key, value in WEEK_6.items() if key.startswith("early@2")})

    item = phone.item("pain@1/1")
    assert reads(item.locator("fieldset")) == ("ar", "rtl", "rtl")
    assert f"{INVENTED} item 1" in item.inner_text()
    assert reads(phone.page.locator("html")) == ("en", "ltr", "ltr")
    assert reads(item.locator("nav"))[2] == "ltr"
    first, second = (item.locator(f'[data-code="{code}"]').bounding_box() for code in ("0", "1"))
    assert first is not None and second is not None and first["x"] > second["x"]
    width = phone.page.evaluate("document.documentElement.scrollWidth - document.documentElement.clientWidth")
    assert width == 0

    phone.answer("pain@1/1", WEEK_6["pain@1/1"])
    choice = phone.item("pass@1/1")
    assert reads(choice.locator('[data-code="1"]'))[2] == "rtl"
    assert f"{INVENTED} option 1" in choice.inner_text()
    phone.answer("pass@1/1", 1)
    phone.say_who()
    review = phone.screen("review")
    assert reads(review.locator('[data-answer="pass@1/1"] .stem')) == ("ar", "rtl", "rtl")
    assert review.locator('[data-answer="pass@1/1"] b').inner_text() == f"{INVENTED} option 1"
    assert_the_answer_stands_under_its_question(review.locator('[data-answer="pain@1/1"]'))
    phone.send()
    phone.screen("received")

    site.wait_for_response(patient_id)
    the_answers_page_names_the_text(site, phone, patient_id)


def assert_the_answer_stands_under_its_question(row: Locator) -> None:
    """Both begin at the right, also where the answer is a number and so has no direction of its own."""
    question, answer = row.locator("> div").bounding_box(), row.locator("bdi").bounding_box()
    assert question is not None and answer is not None
    assert answer["x"] + answer["width"] == pytest.approx(question["x"] + question["width"], abs=1)


def test_digits_run_from_the_left_as_on_every_keyboard_and_the_apps_own_words_too(site: Site, phone: Phone) -> None:
    with site.case.store.writing() as session:
        checked = check_file(text_file("since@2", "ar", words=INVENTED), load_library())
        session.scalars(select(Clinic)).one().languages = "en,ar"
        install_text(session, checked, licence(), now=site.case.now, by_id=None)
    phone.come_in(site.link(site.enrol(language="ar")), BORN)
    phone.start_form()
    phone.answer("since@2/1", 1)
    phone.answer("since@2/1a", DECLINE)
    phone.item("since@2/1b")
    assert reads(phone.page.locator("#item-left")) == ("en", "auto", "ltr")
    phone.answer("since@2/1b", DECLINE)
    phone.answer_all({"since@2/2": 1, **{f"since@2/{n}": 0 for n in range(7, 11)}})
    item = phone.item("since@2/3")
    assert reads(item.locator("fieldset"))[2] == "rtl"
    one, two = (item.locator(f'[data-digit="{digit}"]').bounding_box() for digit in "12")
    assert one is not None and two is not None and one["x"] < two["x"]


def the_answers_page_names_the_text(site: Site, phone: Phone, patient_id: int) -> None:
    with site.case.store.reading() as session:
        response_id = session.scalars(select(Response.id).where(Response.patient_id == patient_id)).one()
    surgeon = sign_in(phone.page.context.browser, site, "surgeon")
    surgeon.goto(f"{site.address}/responses/{response_id}")
    words = surgeon.inner_text("main")
    assert "pain@1/ar/licensed-1" in words and "pass@1/ar/licensed-1" in words
    marked = surgeon.locator('[lang="ar"]').first
    assert reads(marked) == ("ar", "rtl", "rtl")
