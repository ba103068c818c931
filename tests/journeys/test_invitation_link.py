"""The link of an invitation in a browser: its secret leaves the address, and it is looked at before a password is asked for."""

import pytest

from tests.journeys.chromium import PHONE, Chromium
from tests.journeys.site import PASSWORD, Site
from tests.journeys.staff import sign_in

pytestmark = pytest.mark.xdist_group("chromium")


def test_a_dead_link_says_so_before_a_password_is_typed_and_a_good_one_asks_for_one(
    site: Site, shared_chromium: Chromium
) -> None:
    manager = sign_in(shared_chromium.browser, site, "data_manager")
    manager.goto(f"{site.address}/accounts/new")
    for name, text in (("name", "Ida Keys"), ("email", "ida.keys@clinic.example"), ("present_password", PASSWORD)):
        manager.fill(f"main [name={name}]", text)
    manager.select_option("main [name=role]", "nurse")
    manager.click("main form button")
    link = manager.inner_text("#invitation-link")

    assert shared_chromium.browser is not None
    person = shared_chromium.browser.new_context(viewport=PHONE, locale="en-US").new_page()
    person.goto(link)
    person.wait_for_selector("#new_password")
    assert "#" not in person.url and not person.is_visible("#invitation")
    assert person.evaluate("document.documentElement.scrollWidth <= innerWidth")
    dead = shared_chromium.browser.new_context(viewport=PHONE).new_page()
    dead.goto(f"{link[:-4]}dead")
    dead.wait_for_selector("text=This invitation is not good")
    assert dead.locator("#new_password").count() == 0 and "#" not in dead.url
    person.click("a[data-language]")
    person.wait_for_selector("html[lang=es] #new_password")
    assert "#" not in person.url, "the other language was asked for together with the invitation"
