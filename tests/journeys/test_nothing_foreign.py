"""Nobody but the clinic's server is ever asked for anything, and no page breaks its own policy."""

from dataclasses import dataclass, field
from pathlib import Path

import pytest
from playwright.sync_api import BrowserContext

from tests.journeys.chromium import DESK, Chromium
from tests.journeys.network import asked_by, record_flags
from tests.journeys.phone import WEEK_6, WEEK_6_DAYS, Phone
from tests.journeys.site import BORN, ROLES, Site
from tests.journeys.staff import sign_in
from tests.staff.staff_case import StaffCase
from tests.staff.visited import Visited, fill_clinic

pytestmark = pytest.mark.xdist_group("chromium")

LISTEN = """document.addEventListener('securitypolicyviolation', event =>
  window.policyBroken(`${event.violatedDirective} ${event.blockedURI} on ${location.pathname} ${event.sample}`));"""
BREAK_IT = """() => new Promise(resolve => {
  document.addEventListener('securitypolicyviolation', () => resolve(true), { once: true });
  document.head.append(Object.assign(document.createElement('script'), { src: 'https://elsewhere.example/x.js' }));
})"""


@dataclass
class Broken:
    """What a page did against its policy, over all pages of a context."""

    found: list[str] = field(default_factory=list)

    def listen(self, context: BrowserContext) -> None:
        context.expose_function("policyBroken", lambda words: self.found.append(words))
        context.add_init_script(LISTEN)


@pytest.fixture(scope="module")
def filled(site: Site) -> Visited:
    return fill_clinic(StaffCase(site.case, site.case.app))


def test_phone_and_staff_pages_ask_nobody_but_the_clinic(
    site: Site, filled: Visited, chromium: Chromium, tmp_path: Path
) -> None:
    """By the browser's own record, which holds what a service worker asks for too."""
    log = tmp_path / "network.json"
    chromium.flags = record_flags(log)
    phone = Phone(chromium.start())
    phone.come_in(site.link(site.enrol(operated_days_ago=WEEK_6_DAYS)), BORN)
    phone.fill_form(WEEK_6)
    phone.send()
    phone.screen("received")
    assert chromium.browser is not None
    for role in ROLES:
        page = sign_in(chromium.browser, site, role)
        for path in filled.pages[role]:
            page.goto(f"{site.address}{path}")
    chromium.close()
    asked = set(asked_by(site.address, log))
    assert {each for each in asked if not each.startswith(f"{site.address}/")} == set()
    assert {f"{site.address}{path}" for path in ("/p/", "/p/sw.js", "/api/due", "/api/envelopes")} <= asked


def test_the_phone_keeps_to_its_policy(site: Site, context: BrowserContext) -> None:
    broken = Broken()
    broken.listen(context)
    phone = Phone(context.new_page())
    phone.come_in(site.link(site.enrol("left", "right")), BORN)
    phone.page.click('[data-language="es"]')
    phone.page.reload()
    phone.fill_form(side="left")
    phone.send()
    phone.screen("received")
    assert broken.found == []
    phone.page.evaluate(BREAK_IT)
    phone.do("next-form")
    assert [each.split(" on ")[0] for each in broken.found] == ["script-src-elem https://elsewhere.example/x.js"]


@pytest.mark.parametrize("role", ROLES)
def test_staff_pages_keep_to_their_policy(site: Site, filled: Visited, shared_chromium: Chromium, role: str) -> None:
    broken = Broken()
    page = sign_in(shared_chromium.browser, site, role)
    broken.listen(page.context)
    assert filled.pages[role]
    for path in filled.pages[role]:
        page.goto(f"{site.address}{path}", wait_until="load")
    assert broken.found == []
    page.evaluate(BREAK_IT)
    page.goto(f"{site.address}/account")
    assert len(broken.found) == 1
    page.context.close()


def test_the_front_door_of_the_demo_keeps_to_its_policy(site: Site, filled: Visited, shared_chromium: Chromium) -> None:
    assert shared_chromium.browser is not None
    context = shared_chromium.browser.new_context(viewport=DESK)
    broken = Broken()
    broken.listen(context)
    page = context.new_page()
    page.goto(site.address)
    page.wait_for_selector("main")
    assert broken.found == []
    context.close()
