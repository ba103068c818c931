"""The library that drives Chromium, started once for a test run: a second one in the same process is refused by it."""

from collections.abc import Iterator

import pytest
from playwright.sync_api import Playwright, sync_playwright

from tests.browsers import reason_missing


@pytest.fixture(scope="session")
def playwright() -> Iterator[Playwright]:
    reason = reason_missing("chromium")
    if reason:
        pytest.skip(f"Chromium: {reason}")
    with sync_playwright() as driver:
        yield driver
