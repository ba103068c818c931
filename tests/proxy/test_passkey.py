"""A real browser at https://localhost: the first sign-in on a live clinic makes a passkey, the next uses it, by keys alone."""

from collections.abc import Iterator

import pytest
from playwright.sync_api import Browser, Page, Playwright

from server.queries.clock import the_clinic
from tests.browsers import CHROMIUM_FLAGS, chromium_path
from tests.journeys.axe import barriers
from tests.journeys.chromium import DESK
from tests.journeys.site import PASSWORD, Site
from tests.proxy.nginx import Proxy, nginx_alone

AUTHENTICATOR = {
    "protocol": "ctap2",
    "transport": "internal",
    "hasResidentKey": True,
    "hasUserVerification": True,
    "isUserVerified": True,
    "automaticPresenceSimulation": True,
}


@pytest.fixture
def live(site: Site) -> Iterator[Site]:
    """The clinic of these tests is a demo but for this test."""
    with site.case.store.writing() as session:
        clinic = the_clinic(session)
        clock, clinic.mode, clinic.clock_real_at = clinic.clock_real_at, "live", None
    yield site
    with site.case.store.writing() as session:
        clinic = the_clinic(session)
        clinic.mode, clinic.clock_real_at = "demo", clock


@pytest.fixture
def browser(playwright: Playwright) -> Iterator[Browser]:
    path = chromium_path()
    made = playwright.chromium.launch(executable_path=path, args=list(CHROMIUM_FLAGS))
    yield made
    made.close()


def give_password(page: Page, proxy: Proxy) -> None:
    page.goto(f"https://{proxy.host}/sign-in")
    page.wait_for_selector("[name=email]:focus")
    page.keyboard.type("surgeon@clinic.example")
    page.keyboard.press("Tab")
    page.keyboard.type(PASSWORD)
    page.keyboard.press("Enter")
    page.wait_for_selector("h1:has-text('econd step')")


@nginx_alone
def test_a_passkey_is_made_at_the_first_sign_in_and_is_the_second_step_of_the_next(
    live: Site, proxy: Proxy, browser: Browser
) -> None:
    # The certificate is the test's own; apart from that nothing of the browser's rules for passkeys is set aside.
    page = browser.new_context(viewport=DESK, locale="en-US", ignore_https_errors=True).new_page()
    devices = page.context.new_cdp_session(page)
    devices.send("WebAuthn.enable")
    device = devices.send("WebAuthn.addVirtualAuthenticator", {"options": AUTHENTICATOR})["authenticatorId"]

    give_password(page, proxy)
    assert page.url.endswith("/account/second-factor")
    assert barriers(page) == []
    page.focus("#name-passkey")
    page.keyboard.type("ward computer")
    page.keyboard.press("Enter")
    page.wait_for_selector("[data-passkey-ask]:focus")
    assert barriers(page) == []
    page.keyboard.press("Enter")
    page.wait_for_selector(".codes li")
    assert barriers(page) == []
    assert page.locator(".codes li").count() == 10

    page.click("main form button.second")
    page.wait_for_url("**/today")
    page.click(".who button")
    page.wait_for_selector("[data-notice]")
    give_password(page, proxy)
    page.goto(f"https://{proxy.host}/today")
    assert page.url.endswith("/sign-in/second-step")
    page.wait_for_selector("[data-passkey-ask]:focus")
    assert barriers(page) == []
    page.keyboard.press("Enter")
    page.wait_for_url("**/today")

    (credential,) = devices.send("WebAuthn.getCredentials", {"authenticatorId": device})["credentials"]
    assert (credential["rpId"], credential["signCount"]) == ("localhost", 2)

    page.click(".who button")
    page.wait_for_selector("[data-notice]")
    devices.send("WebAuthn.setUserVerified", {"authenticatorId": device, "isUserVerified": False})
    devices.send("WebAuthn.removeCredential", {"authenticatorId": device, "credentialId": credential["credentialId"]})
    give_password(page, proxy)
    page.wait_for_selector("[data-passkey-ask]:focus")
    page.keyboard.press("Enter")
    page.wait_for_selector("[data-passkey-problem]:not([hidden])")
    assert "Nothing is lost" in page.inner_text("[data-passkey-problem]")
    page.context.close()
