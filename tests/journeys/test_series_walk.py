"""A surgeon goes from the sign-in page to a saved figure, and to the people behind a loss, by few clicks. Everybody here is invented."""

import re
from collections.abc import Iterator
from dataclasses import dataclass

import pytest
from playwright.sync_api import Locator, Page, expect

from server.clinic.entries import ShoulderEntry
from server.staff.series.silence_words import KNOWN
from tests.journeys.axe import barriers
from tests.journeys.chromium import DESK, PHONE, Chromium
from tests.journeys.site import PASSWORD, Site
from tests.staff.staff_case import years_ago

pytestmark = pytest.mark.xdist_group("chromium")
MOST = 10  # clicks
# What was known of those who answered and of the silent, which this clinic is too small for, where the page has it.
COMPARE = """names => {
  const cells = (name, tag) => `<tr><th scope="row">${name}</th>${`<${tag}>1234 of 1234 (100 %)</${tag}>`.repeat(2)}</tr>`;
  const head = '<tr><td></td><th scope="col">respondieron</th><th scope="col">silenciosos</th></tr>';
  const rows = names.map(name => cells(name, 'td')).join('');
  document.getElementById('quarter').insertAdjacentHTML('beforebegin', `<table class="compared">${head}${rows}</table>`);
}"""


@dataclass
class Walk:
    """A browser of which every click is counted; what is typed is not."""

    page: Page
    clicks: int = 0

    def click(self, where: Locator) -> None:
        where.click()
        self.clicks += 1


@pytest.fixture
def walk(site: Site, shared_chromium: Chromium) -> Iterator[Walk]:
    for name, diagnosis in (("Ada", "osteoarthritis"), ("Bela", "osteonecrosis"), ("Cora", "osteoarthritis")):
        operated = ShoulderEntry(
            side="left", surgery_on=years_ago(site.case, 3), procedure="resurfacing", diagnosis=diagnosis
        )
        site.case.enrol(operated, first_name=name, consents=("contact", "research"))
    assert shared_chromium.browser is not None
    page = shared_chromium.browser.new_context(viewport=DESK, locale="en-US", accept_downloads=True).new_page()
    page.goto(f"{site.address}/sign-in")
    page.fill("[name=email]", "surgeon@clinic.example")
    page.fill("[name=password]", PASSWORD)
    yield Walk(page)
    page.context.close()


def open_series(walk: Walk) -> None:
    walk.click(walk.page.locator("main form button"))
    walk.click(walk.page.get_by_role("navigation").get_by_role("link", name="Series"))
    walk.page.wait_for_url("**/series")  # and until it is loaded: a click does not wait for where it leads


def test_from_sign_in_to_a_saved_and_printed_figure(walk: Walk) -> None:
    page = walk.page
    open_series(walk)
    walk.click(page.get_by_role("link", name="any diagnosis"))
    walk.click(page.get_by_label("osteoarthritis"))
    walk.click(page.get_by_role("button", name="Use these words"))
    expect(page.get_by_role("heading", level=1)).to_contain_text("for osteoarthritis")
    walk.click(page.get_by_role("link", name="save this series"))
    page.get_by_label("Name").fill("Osteoarthritis, all")
    walk.click(page.get_by_role("button", name="Save the series"))
    expect(page.get_by_role("link", name="Osteoarthritis, all")).to_be_visible()
    with page.expect_download() as kept:
        walk.click(page.get_by_role("link", name="column, PDF").first)
    assert kept.value.path().read_bytes().startswith(b"%PDF-") and walk.clicks < MOST


def test_from_sign_in_to_the_people_behind_a_loss(walk: Walk) -> None:
    open_series(walk)
    walk.click(walk.page.locator(".figure a:visible").first)
    expect(walk.page.get_by_role("rowheader").first).to_contain_text("Y-")
    assert walk.clicks < MOST


@pytest.mark.parametrize("size", [PHONE, DESK], ids=["phone", "desk"])
def test_the_page_has_no_barrier_and_does_not_scroll_sideways(walk: Walk, size: dict[str, int]) -> None:
    open_series(walk)
    walk.page.set_viewport_size(size)  # type: ignore[arg-type]
    walk.page.evaluate(COMPARE, [each.text for each in KNOWN.values()])
    wider = "document.documentElement.scrollWidth - document.documentElement.clientWidth"
    assert (barriers(walk.page), walk.page.evaluate(wider)) == ([], 0)


def test_on_a_phone_one_question_is_open_and_a_link_leads_back_to_all(walk: Walk) -> None:
    open_series(walk)
    page = walk.page
    page.set_viewport_size(PHONE)
    parts, opened = page.locator("section.part"), page.locator("section.part .whole:visible")
    expect(opened).to_have_count(1)
    page.get_by_role("heading", name="How long do the implants last?").get_by_role("link").press("Enter")
    expect(opened).to_have_count(1)
    expect(page).to_have_url(re.compile("#survival$"))
    expect(opened).to_contain_text("What counts:")
    opened.get_by_role("link", name="Back to all questions").press("Enter")
    expect(opened).to_have_count(0)
    expect(page.locator("section.part .key:visible")).to_have_count(parts.count())
    page.set_viewport_size(DESK)
    expect(opened).to_have_count(parts.count())
