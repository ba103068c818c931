"""A clinic with a running server and a browser, for each test file; a fresh context for each test."""

from collections.abc import Iterator
from pathlib import Path

import pytest
from playwright.sync_api import BrowserContext, Page, Playwright
from selenium.webdriver.webkitgtk.webdriver import WebDriver

from tests.browsers import reason_missing
from tests.journeys.chromium import PHONE, Chromium
from tests.journeys.phone import Phone
from tests.journeys.site import Site, make_site
from tests.journeys.webkit import driven_webkit


@pytest.fixture(scope="module")
def site(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Site]:
    """The server runs; a test that kills it starts it again."""
    made = make_site(tmp_path_factory.mktemp("clinic"))
    made.start()
    yield made
    made.stop()
    made.case.store.engine.dispose()


@pytest.fixture
def chromium(playwright: Playwright, tmp_path: Path) -> Iterator[Chromium]:
    """Not yet started, with an empty profile of its own."""
    made = Chromium(tmp_path / "profile", playwright)
    yield made
    made.kill()


@pytest.fixture(scope="module")
def fonts() -> str:
    """Of which width the browser's fonts are. A file that tests the layout asks for both."""
    return "wide"


@pytest.fixture(scope="module")
def shared_chromium(playwright: Playwright, tmp_path_factory: pytest.TempPathFactory, fonts: str) -> Iterator[Chromium]:
    made = Chromium(tmp_path_factory.mktemp("browser") / "profile", playwright, fonts=fonts)
    made.start()
    yield made
    made.kill()


@pytest.fixture(scope="module")
def webkit(tmp_path_factory: pytest.TempPathFactory, fonts: str) -> Iterator[WebDriver]:
    reason = reason_missing("webkit")
    if reason:
        pytest.skip(f"WebKit: {reason}")
    with driven_webkit(fonts, tmp_path_factory.mktemp("webkit")) as driver:
        yield driver


def allow_background_sync(page: Page, setting: str) -> None:
    """For the whole context of the page: `granted` or `denied`."""
    target = page.context.new_cdp_session(page).send("Target.getTargetInfo")["targetInfo"]
    assert page.context.browser is not None
    page.context.browser.new_browser_cdp_session().send(
        "Browser.setPermission",
        {
            "permission": {"name": "background-sync"},
            "setting": setting,
            "browserContextId": target["browserContextId"],
        },
    )


@pytest.fixture
def context(shared_chromium: Chromium) -> Iterator[BrowserContext]:
    """A browser that has never been anywhere, of phone size."""
    assert shared_chromium.browser is not None
    made = shared_chromium.browser.new_context(viewport=PHONE, locale="en-US")
    # The worker would send at a moment of the browser's choice, past the answers that a test puts in the clinic's place.
    allow_background_sync(made.new_page(), "denied")
    yield made
    made.close()


@pytest.fixture
def phone(context: BrowserContext) -> Phone:
    return Phone(context.pages[0])
