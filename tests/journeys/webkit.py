"""WebKit, as on every iPhone: its driver, and the phone app in it as a person uses it."""

import os
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from datetime import date
from pathlib import Path

from selenium import webdriver
from selenium.common.exceptions import StaleElementReferenceException
from selenium.webdriver.common.by import By
from selenium.webdriver.support import expected_conditions as seen
from selenium.webdriver.support.ui import WebDriverWait
from selenium.webdriver.webkitgtk.options import Options
from selenium.webdriver.webkitgtk.service import Service
from selenium.webdriver.webkitgtk.webdriver import WebDriver

from tests.browsers import virtual_screen, webkit_browser, webkit_driver
from tests.fonts import font_environment
from tests.journeys.phone import Answer

WITHIN_SECONDS = 20


@contextmanager
def driven_webkit(fonts: str, folder: Path) -> Iterator[WebDriver]:
    """A WebKit on a screen of its own, with the `wide` or the `narrow` fonts; their configuration is written into `folder`."""
    options = Options()
    options.binary_location = str(webkit_browser())
    options.add_argument("--automation")
    with virtual_screen() as screen:
        own = {"DISPLAY": screen, "LIBGL_ALWAYS_SOFTWARE": "1", "LANG": "en_US.UTF-8"}
        environment = {**os.environ, **own, **font_environment(fonts, folder)}
        driver = webdriver.WebKitGTK(options=options, service=Service(str(webkit_driver()), env=environment))
        try:
            yield driver
        finally:
            driver.quit()


class WebKitPhone:
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

    def come_in(self, link: str, born: date) -> None:
        """From the link to the list of forms, and until the app is kept for being offline."""
        self.driver.get(link)
        self.screen("start")
        self.do("begin")
        self.screen("birth")
        for name, number in (("day", born.day), ("month", born.month), ("year", born.year)):
            self.type(f'[name="b-{name}"]', str(number))
        self.do("open")
        self.screen("forms")
        self.there("html[data-offline=ready]")

    def answer_all(self, answers: Mapping[str, Answer]) -> None:
        """Items that are answered by choosing one of several codes."""
        for key, code in answers.items():
            self.there(f'main[data-item="{key}"]')
            self.click(f'main[data-item="{key}"] [data-code="{code}"]')
            self.there(f'main[data-item="{key}"] .on[data-code="{code}"]')
            self.do("next")
            self.there(f'main:not([data-item="{key}"])')

    @property
    def words(self) -> str:
        return self.driver.find_element(By.TAG_NAME, "body").text
