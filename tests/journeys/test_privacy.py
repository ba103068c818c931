"""The clinic's own texts on the phone: read before the first answer, without network, and from the middle of a form."""

from collections.abc import Mapping
from pathlib import Path

import pytest
from playwright.sync_api import Locator
from sqlalchemy import select

from server.models import Clinic, Patient
from server.queries.clinic_notices import in_force, notice_versions
from server.texts.notices import Wording, install_version
from tests.journeys.axe import barriers
from tests.journeys.exported import answers, export
from tests.journeys.phone import WEEK_6, WEEK_6_DAYS, Phone
from tests.journeys.site import BORN, Site

pytestmark = pytest.mark.xdist_group("chromium")

# Invented, and longer than a small screen.
EN = Wording(
    "How we use your answers",
    "This notice is invented.\n\n"
    "# What we keep\nYour name, your date of birth and what you answer.\nNothing else of your phone.\n\n"
    "# Why we keep it\n" + "To see how your shoulder does over the years. " * 8 + "\n\n"
    "# What you may ask of us\nWrite to privacy-officer-of-the-harbour-shoulder-clinic@clinic.example, or call 555 0100.",
)
ES = Wording("Cómo usamos sus respuestas", "Este aviso es inventado.\n\n# Qué guardamos\nSu nombre y sus respuestas.")
AR = Wording("كيف نستخدم إجاباتك", "هذا الإشعار مخترع.\n\n# ما نحتفظ به\nاسمك وإجاباتك.")
LINKAGE = Wording("Comparing with registers", "I agree.\n\n# What it is about\nA register of deaths.")
TOO_WIDE = "document.documentElement.scrollWidth - document.documentElement.clientWidth"
TOO_HIGH = "document.documentElement.scrollHeight - document.documentElement.clientHeight"


@pytest.fixture(scope="module", params=["wide", "narrow"])
def fonts(request: pytest.FixtureRequest) -> str:
    return str(request.param)


def install(site: Site, texts: Mapping[str, Wording], kind: str = "privacy") -> str:
    """The version. The clinic's languages are those of the texts; a version of a test before is replaced."""
    with site.case.store.writing() as session:
        session.scalars(select(Clinic)).one().languages = ",".join(texts)
        known = notice_versions(session, kind)
        version, before = str(len(known) + 1), in_force(known, kind)
        replaces = before.version if before else ""
        install_version(session, kind, version, texts, replaces=replaces, now=site.case.now, by_id=None)
    return version


def headings(phone: Phone) -> list[tuple[int, str]]:
    """Level and words, as a screen reader lists them."""
    found = [(level, phone.page.get_by_role("heading", level=level).all_inner_texts()) for level in (1, 2)]
    return [(level, words) for level, all_words in found for words in all_words]


def read(phone: Phone) -> Locator:
    """The only text opens at once; no barrier stands in it and nothing is wider than the screen."""
    phone.do("privacy")
    text = phone.screen("privacy_text")
    assert barriers(phone.page) == []
    assert phone.page.evaluate(TOO_WIDE) == 0
    return text


def exported(site: Site, patient_id: int, out: Path) -> dict[str, tuple[str, str]]:
    with site.case.store.reading() as session:
        study_number = session.get_one(Patient, patient_id).study_number
    export(site, out / "export")
    return answers(out / "export", study_number, "week-6")


def test_the_text_is_read_before_the_first_answer_and_in_the_middle_without_network(
    site: Site, phone: Phone, tmp_path: Path
) -> None:
    install(site, {"en": EN, "es": ES})
    patient_id = site.enrol(operated_days_ago=WEEK_6_DAYS)
    phone.come_in(site.link(patient_id), BORN)
    phone.page.context.set_offline(True)
    text = read(phone)
    expected = [(1, EN.title), (2, "What we keep"), (2, "Why we keep it"), (2, "What you may ask of us")]
    assert headings(phone) == expected
    assert "since 15 June 2026" in text.inner_text() and "what you answer.\nNothing else" in text.inner_text()
    phone.page.go_back()
    phone.screen("forms")

    phone.start_form()
    first, second, third = list(WEEK_6)[:3]
    phone.item(first)
    assert phone.page.evaluate(TOO_HIGH) == 0, "the way to it costs no scrolling on a low phone"
    read(phone)
    phone.do("back")
    phone.answer(first, WEEK_6[first])
    phone.item(second)
    assert phone.page.locator('[data-do="privacy"]').count() == 0, "offered where a form begins"
    phone.answer(second, WEEK_6[second])

    phone.item(third)
    phone.do("menu")
    read(phone)
    phone.page.go_back()
    phone.screen("menu")
    phone.do("close-menu")
    phone.item(third)
    phone.page.reload()
    phone.screen("forms")
    phone.do("carry-on")
    phone.answer_all({key: value for key, value in WEEK_6.items() if key not in (first, second)})
    phone.say_who()
    phone.page.context.set_offline(False)
    phone.send()
    phone.screen("received")
    site.wait_for_response(patient_id)
    assert exported(site, patient_id, tmp_path) == {key: (str(value), "") for key, value in WEEK_6.items()}


def test_what_was_consented_to_is_listed_with_its_day_and_back_leads_through_the_list(site: Site, phone: Phone) -> None:
    install(site, {"en": EN, "es": ES})
    version = install(site, {"en": LINKAGE, "es": LINKAGE}, "linkage")
    phone.come_in(site.link(site.enrol(consents=("contact", "research", "linkage"))), BORN)
    phone.do("privacy")
    offered = phone.screen("privacy").locator("li")
    assert barriers(phone.page) == []
    assert [each.splitlines()[0] for each in offered.all_inner_texts()] == [EN.title, LINKAGE.title]
    assert "Agreed to" not in offered.nth(0).inner_text()
    phone.do("text-linkage")
    phone.screen("privacy_text")
    assert headings(phone) == [(1, LINKAGE.title), (2, "What it is about")]
    assert f"Version {version}, since 15 June 2026" in phone.words and "Agreed to on 15 June 2026." in phone.words
    phone.page.go_back()
    phone.screen("privacy")
    phone.page.go_back()
    phone.screen("forms")


def test_where_nothing_is_due_it_is_read_in_either_language_and_back_leads_there(site: Site, phone: Phone) -> None:
    install(site, {"en": EN, "es": ES})
    phone.open(site.link(site.enrol(operated_days_ago=200)))
    phone.do("begin")
    phone.give_birth_date(BORN)
    phone.screen("nothing")
    read(phone)
    phone.page.locator('[data-language="es"]').click()
    phone.page.get_by_role("heading", name=ES.title).wait_for()
    assert "desde el 15 de junio de 2026" in phone.words
    phone.page.go_back()
    phone.screen("nothing")


def test_a_text_that_is_read_from_the_right_runs_from_the_right_and_the_app_from_the_left(
    site: Site, phone: Phone
) -> None:
    install(site, {"en": EN, "ar": AR})
    phone.come_in(site.link(site.enrol(language="ar", operated_days_ago=WEEK_6_DAYS)), BORN)
    read(phone)
    assert headings(phone) == [(1, AR.title), (2, "ما نحتفظ به")]
    for heading in (phone.page.locator("h1"), phone.page.locator("h2")):
        marked = heading.locator("xpath=ancestor::*[@lang][1]")
        assert (marked.get_attribute("lang"), marked.get_attribute("dir")) == ("ar", "rtl")
        assert heading.evaluate("element => getComputedStyle(element).direction") == "rtl"
    assert phone.page.locator("nav").evaluate("element => getComputedStyle(element).direction") == "ltr"
