"""The main path in a second engine: WebKit, as on every iPhone.

Its driver starts the small browser without a profile that stays, so that killing it and starting it again would lose all by design of
the driver; that part of the path is shown in Chromium only. Here the server goes away in the middle, which to the page is the same as no
network, and the page is loaded again without it.
"""

import os
from collections.abc import Iterator, Mapping

import pytest
from selenium import webdriver
from selenium.common.exceptions import StaleElementReferenceException
from selenium.webdriver.common.by import By
from selenium.webdriver.support import expected_conditions as seen
from selenium.webdriver.support.ui import WebDriverWait
from selenium.webdriver.webkitgtk.options import Options
from selenium.webdriver.webkitgtk.service import Service
from selenium.webdriver.webkitgtk.webdriver import WebDriver

from tests.browsers import reason_missing, virtual_screen, webkit_browser, webkit_driver
from tests.journeys.phone import WEEK_6, WEEK_6_DAYS, Answer
from tests.journeys.site import BORN, Site

pytestmark = [
    pytest.mark.xdist_group("webkit"),
    # Selenium's own class for this browser still calls another of its classes in the old way.
    pytest.mark.filterwarnings("ignore:setting remote_server_addr:DeprecationWarning"),
]
WITHIN_SECONDS = 20


@pytest.fixture(scope="module")
def webkit() -> Iterator[WebDriver]:
    reason = reason_missing("webkit")
    if reason:
        pytest.skip(f"WebKit: {reason}")
    options = Options()
    options.binary_location = str(webkit_browser())
    options.add_argument("--automation")
    with virtual_screen() as screen:
        environment = {**os.environ, "DISPLAY": screen, "LIBGL_ALWAYS_SOFTWARE": "1", "LANG": "en_US.UTF-8"}
        driver = webdriver.WebKitGTK(options=options, service=Service(str(webkit_driver()), env=environment))
        try:
            yield driver
        finally:
            driver.quit()


class Hand:
    """The phone app in a WebKit, by the same hooks as tests.journeys.phone."""

    def __init__(self, driver: WebDriver) -> None:
        self.driver = driver
        self.wait = WebDriverWait(driver, WITHIN_SECONDS, ignored_exceptions=[StaleElementReferenceException])

    def there(self, css: str) -> None:
        self.wait.until(seen.presence_of_element_located((By.CSS_SELECTOR, css)), css)

    def click(self, css: str) -> None:
        self.wait.until(seen.element_to_be_clickable((By.CSS_SELECTOR, css)), css).click()

    def screen(self, name: str) -> None:
        self.there(f'main[data-screen="{name}"]')

    def do(self, what: str) -> None:
        self.click(f'[data-do="{what}"]')

    def type(self, css: str, text: str) -> None:
        self.driver.find_element(By.CSS_SELECTOR, css).send_keys(text)

    def answer_all(self, answers: Mapping[str, Answer]) -> None:
        for key, code in answers.items():
            self.there(f'main[data-item="{key}"]')
            self.click(f'main[data-item="{key}"] [data-code="{code}"]')
            self.there(f'main[data-item="{key}"] .on[data-code="{code}"]')
            self.do("next")
            self.there(f'main:not([data-item="{key}"])')

    @property
    def words(self) -> str:
        return self.driver.find_element(By.TAG_NAME, "body").text


def test_in_webkit_too_a_form_begun_online_is_finished_without_the_server_and_received_later(
    site: Site, webkit: WebDriver
) -> None:
    patient_id = site.enrol(operated_days_ago=WEEK_6_DAYS)
    hand = Hand(webkit)
    webkit.get(site.link(patient_id))
    hand.screen("start")
    hand.do("begin")
    hand.screen("birth")
    for name, number in (("day", BORN.day), ("month", BORN.month), ("year", BORN.year)):
        hand.type(f'[name="b-{name}"]', str(number))
    hand.do("open")
    hand.screen("forms")
    hand.there("html[data-offline=ready]")
    hand.do("start-form")
    half = dict(list(WEEK_6.items())[:3])
    hand.answer_all(half)
    site.kill()
    webkit.get(f"{site.address}/p/")
    hand.screen("forms")
    hand.do("carry-on")
    hand.answer_all({key: code for key, code in WEEK_6.items() if key not in half})
    hand.click('[data-code="patient"]')
    hand.do("next")
    hand.screen("review")
    hand.do("send")
    hand.screen("saved")
    hand.wait.until(lambda _driver: "Not sent yet." in hand.words)
    assert "Saved on this phone" in hand.words
    site.start()
    hand.do("send-now")
    hand.screen("received")
    assert "Perhaps nobody has read it yet." in hand.words
    site.wait_for_response(patient_id)
