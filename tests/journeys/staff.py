"""Staff at a desk: signing in through the page, and what the pages show."""

from playwright.sync_api import Browser, Locator, Page

from tests.journeys.chromium import DESK
from tests.journeys.site import PASSWORD, Site

MOST_TABS = 60


def sign_in(browser: Browser | None, site: Site, role: str) -> Page:
    """A page in a browser of its own, where the role's first page is shown."""
    assert browser is not None
    page = browser.new_context(viewport=DESK, locale="en-US").new_page()
    page.goto(f"{site.address}/sign-in")
    page.fill("[name=email]", f"{role}@clinic.example")
    page.fill("[name=password]", PASSWORD)
    page.click("main form button")
    page.wait_for_url(lambda url: "/sign-in" not in url)
    return page


def listed_today(page: Page, site: Site) -> list[tuple[str, str]]:
    """Name and state of each row of the nurse's list, as they are shown."""
    page.goto(f"{site.address}/today")
    rows = page.locator("[data-row]")
    return list(zip(rows.locator(".name").all_inner_texts(), rows.locator(".state").all_inner_texts(), strict=True))


def settle_first(page: Page, note: str) -> str:
    """Opens the first thing on the list and settles it; gives what the page said of it."""
    page.click("[data-row] .act a.button")
    page.wait_for_selector("textarea[name=note]")
    said = page.inner_text("main")
    page.fill("textarea[name=note]", note)
    page.click("main form.small-form button")
    page.wait_for_selector("[data-notice]")
    return said


def called_in_row(page: Page, name: str) -> Locator:
    """The link by which a call is written down in the row of that name."""
    return page.locator("[data-row]", has_text=name).get_by_role("link", name="Called")


def log_call_by_keyboard(page: Page, site: Site, name: str, result: str) -> str:
    """In the row of that name: opens it, chooses a result, saves; gives the name in the row that has the focus then."""
    page.goto(f"{site.address}/today")
    called_in_row(page, name).press("Enter")
    page.wait_for_selector(".opened [name=result]:focus")  # the first result has it, once the page has loaded
    page.keyboard.press("Space")
    page.get_by_label(result).focus()
    page.keyboard.press("Space")
    page.keyboard.press("Enter")
    page.wait_for_selector(".said")
    page.wait_for_load_state()  # by then the focus stands where it is put
    return str(page.evaluate("document.activeElement.textContent.trim()"))


def tab_to(page: Page, wanted: str) -> None:
    """Presses Tab until what the selector means has the focus."""
    for _ in range(MOST_TABS):
        page.keyboard.press("Tab")
        if page.evaluate("wanted => document.activeElement.matches(wanted)", wanted):
            return
    raise AssertionError(f"{wanted} is not reached by {MOST_TABS} presses of Tab on {page.url}")


def follow(page: Page, wanted: str) -> None:
    """A link, or a button that leads to a page."""
    tab_to(page, wanted)
    with page.expect_navigation():
        page.keyboard.press("Enter")


def send_by_keyboard(page: Page, **typed: str) -> None:
    """Into the fields of those names, in the order in which Tab reaches them; sent by Enter in the last."""
    for name, text in typed.items():
        tab_to(page, f"main [name={name}]")
        page.keyboard.type(text)
    with page.expect_navigation():
        page.keyboard.press("Enter")
