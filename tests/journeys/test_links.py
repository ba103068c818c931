"""What a person sees who opens a link: a good one, a mistyped one, an old one, one that is locked."""

import pytest
from playwright.sync_api import Route, expect

from server.links.make import end_links, replace_link
from server.models import Patient
from tests.journeys.chromium import Chromium
from tests.journeys.phone import Phone
from tests.journeys.site import BORN, Site, until

pytestmark = pytest.mark.xdist_group("chromium")
CALL_THE_CLINIC = 'main a[href="tel:5550100"]'
WRONG = BORN.replace(year=BORN.year + 4)


def swapped(token: str) -> str:
    """The same letters with the first two different neighbours swapped, as a hand does that copies."""
    at = next(at for at in range(len(token)) if token[at] != token[at + 1])
    return token[:at] + token[at + 1] + token[at] + token[at + 2 :]


def test_a_link_with_two_letters_swapped_is_caught_on_the_phone_and_can_be_typed_by_hand(
    site: Site, phone: Phone
) -> None:
    token = site.token(site.enrol())
    phone.page.goto(f"{site.address}/p/#{swapped(token)}")
    phone.screen("mistyped")
    phone.do("code")
    phone.page.fill("textarea", " ".join(token[at : at + 4].lower() for at in range(0, 28, 4)))
    phone.do("code-open")
    phone.do("begin")
    phone.give_birth_date(BORN)
    phone.screen("forms")


def test_a_code_typed_wrongly_stays_where_it_was_typed_and_its_group_is_named(site: Site, phone: Phone) -> None:
    token = site.token(site.enrol())
    groups = [token[at : at + 4] for at in range(0, 28, 4)]
    phone.page.goto(f"{site.address}/p/")
    phone.do("code")
    field = phone.page.locator("textarea")
    field.press_sequentially(token[:14].lower())
    expect(field).to_have_value(" ".join([*groups[:3], groups[3][:2]]))
    phone.do("code-open")
    phone.page.get_by_text("14 letters are missing.").wait_for()
    field.press_sequentially("9" + token[15:])
    phone.do("code-open")
    phone.page.get_by_text(f"Look at group 4 ({groups[3][:2]}9{groups[3][3]}).").wait_for()
    expect(field).to_have_value(" ".join([*groups[:3], f"{groups[3][:2]}9{groups[3][3]}", *groups[4:]]))
    field.fill(f"Open this link: {site.address}/p/#{token}\nThe link is for you alone.")
    phone.do("code-open")
    phone.screen("start")


def test_a_link_that_comes_while_the_page_loads_is_taken_out_of_the_address_bar(
    site: Site, shared_chromium: Chromium
) -> None:
    assert shared_chromium.browser is not None
    context = shared_chromium.browser.new_context(locale="es-ES")
    phone = Phone(context.new_page())
    held: list[Route] = []
    phone.page.route("**/p/es-*.js", lambda route: held.append(route))  # the words that the first screen waits for
    phone.page.goto(f"{site.address}/p/", wait_until="commit")
    until(lambda: phone.page.evaluate("1") and held, "the page asks for its words")
    phone.page.evaluate("token => { location.hash = token; }", site.token(site.enrol()))
    until(lambda: phone.page.evaluate("location.hash") == "", "the code has left the address bar")
    held[0].continue_()
    phone.screen("start")
    context.close()


def test_the_link_leaves_the_address_bar_before_anything_is_shown(site: Site, phone: Phone) -> None:
    phone.open(site.link(site.enrol()))
    assert phone.page.url == f"{site.address}/p/"
    phone.page.reload()
    phone.screen("nolink")


def test_after_five_wrong_birth_dates_the_phone_says_to_call_and_even_the_right_one_does_not_open(
    site: Site, phone: Phone
) -> None:
    link = site.link(site.enrol())
    phone.open(link)
    phone.do("begin")
    for _ in range(5):
        phone.give_birth_date(WRONG)
        phone.screen("check")
        assert "555 0100" in phone.words
        said = phone.words
        phone.do("again")
    assert "You have tried five times. This link may be locked." in said
    phone.give_birth_date(BORN)
    phone.screen("check")
    phone.page.goto("about:blank")
    phone.open(link)
    phone.do("begin")
    phone.screen("check")
    assert "This link may be locked." in phone.words, "the phone remembers the tries of a link over a reload"


def test_a_replaced_link_says_that_there_is_a_newer_one(site: Site, phone: Phone) -> None:
    patient_id = site.enrol()
    old = site.link(patient_id)
    with site.case.store.writing() as session:
        replace_link(session, session.get_one(Patient, patient_id), now=site.case.now)
    phone.open(old)
    phone.do("begin")
    phone.give_birth_date(BORN)
    phone.screen("replaced")
    assert phone.page.locator(CALL_THE_CLINIC).count() == 1


def test_an_ended_link_says_that_follow_up_has_ended(site: Site, phone: Phone) -> None:
    patient_id = site.enrol()
    link = site.link(patient_id)
    with site.case.store.writing() as session:
        end_links(session, session.get_one(Patient, patient_id), now=site.case.now)
    phone.open(link)
    phone.do("begin")
    phone.give_birth_date(BORN)
    phone.screen("ended")
    assert phone.page.locator(CALL_THE_CLINIC).count() == 1


def test_a_link_under_which_nothing_is_due_says_so_with_the_name(site: Site, phone: Phone) -> None:
    phone.open(site.link(site.enrol(operated_days_ago=200)))
    phone.do("begin")
    phone.give_birth_date(BORN)
    phone.screen("nothing")
    assert "Ada" in phone.words


def test_a_link_opened_again_on_the_same_phone_asks_for_no_birth_date(site: Site, phone: Phone) -> None:
    link = site.link(site.enrol())
    phone.come_in(link, BORN)
    # The same address with another fragment would stay in the page; a person who taps the link gets a new one.
    phone.page.goto("about:blank")
    phone.open(link)
    phone.do("begin")
    phone.screen("forms")


def test_without_network_at_the_first_visit_the_phone_says_so_and_opens_by_itself_later(
    site: Site, phone: Phone
) -> None:
    phone.open(site.link(site.enrol()))
    phone.do("begin")
    phone.page.context.set_offline(True)
    phone.give_birth_date(BORN)
    phone.screen("offline")
    assert "This phone has no network right now." in phone.words
    phone.page.context.set_offline(False)
    phone.screen("forms")


def test_two_people_on_one_phone_each_open_their_own_forms_in_their_own_language_and_one_is_forgotten(
    site: Site, phone: Phone
) -> None:
    phone.come_in(site.link(site.enrol()), BORN)
    phone.page.goto("about:blank")
    phone.come_in(site.link(site.enrol(first_name="Benita", language="es", birth_on=WRONG)), WRONG)
    assert "Hola, Benita" in phone.words
    phone.page.goto("about:blank")
    phone.page.goto(f"{site.address}/p/")
    phone.screen("people").get_by_text("Ada").click()
    phone.give_birth_date(WRONG)
    phone.page.get_by_text("That is not the date of Ada.").wait_for()
    phone.give_birth_date(BORN)
    phone.screen("forms")
    assert "Hello Ada" in phone.words and "Benita" not in phone.words
    phone.start_form()
    phone.answer("since@2/1", 0)
    phone.do("back")
    phone.do("back")
    phone.do("forget")
    assert "Right shoulder: begun, not sent" in phone.screen("forget").inner_text()
    phone.do("forget-now")
    phone.screen("forgotten")
    phone.page.reload()
    phone.screen("forms")
    assert "Hola, Benita" in phone.words and "Ada" not in phone.words
