"""A Chromium of our own with a profile that stays: it can be killed with -9 and started again where it was.

The browser-test library starts browsers that it also closes, so this one is started here and only driven by it.
"""

import os
import signal
import subprocess
import threading
from dataclasses import dataclass, field
from pathlib import Path
from queue import Queue
from typing import IO

from playwright.sync_api import Browser, BrowserContext, Page, Playwright, ViewportSize

from tests.browsers import CHROMIUM_FLAGS, chromium_path
from tests.fonts import font_environment

PHONE: ViewportSize = {"width": 360, "height": 640}
DESK: ViewportSize = {"width": 1280, "height": 900}
SAYS = "DevTools listening on "


def _read(said: IO[str], found: Queue[str]) -> None:
    with said:
        for line in said:
            if line.startswith(SAYS):
                found.put(line.removeprefix(SAYS).strip())


@dataclass
class Chromium:
    """`profile` is the folder of the person's browser. One context lasts as long as it: `context`. `fonts` as in tests.fonts."""

    profile: Path
    playwright: Playwright
    flags: tuple[str, ...] = ()
    fonts: str = "wide"
    process: subprocess.Popen[str] | None = field(default=None, repr=False)
    browser: Browser | None = field(default=None, repr=False)

    def start(self, *, offline: bool = False) -> Page:
        """A page of phone size in the profile, not yet anywhere."""
        path = chromium_path()
        assert path is not None and self.process is None
        command = [
            path,
            *CHROMIUM_FLAGS,
            "--lang=en-US",
            "--remote-debugging-port=0",
            f"--user-data-dir={self.profile}",
        ]
        # A session of its own, so that one signal reaches the browser with all the processes that it starts.
        self.process = subprocess.Popen(
            [*command, *self.flags, "about:blank"],
            env={**os.environ, **font_environment(self.fonts, self.profile.parent / "fonts")},
            stdin=subprocess.DEVNULL,
            stdout=subprocess.DEVNULL,
            stderr=subprocess.PIPE,
            text=True,
            start_new_session=True,
        )
        self.browser = self.playwright.chromium.connect_over_cdp(self._address())
        page = self.context.pages[0] if self.context.pages else self.context.new_page()
        page.set_viewport_size(PHONE)
        self.context.set_offline(offline)
        return page

    def _address(self) -> str:
        """Where it listens. It talks on for as long as it lives, so that a thread reads what it says, lest it wait for us."""
        assert self.process is not None and self.process.stderr is not None
        found: Queue[str] = Queue()
        threading.Thread(target=_read, args=(self.process.stderr, found), daemon=True).start()
        return found.get(timeout=30)

    @property
    def context(self) -> BrowserContext:
        assert self.browser is not None
        return self.browser.contexts[0]

    def kill(self) -> None:
        """With -9, all of it at once, as when a phone's battery is empty."""
        if self.process is not None:
            os.killpg(self.process.pid, signal.SIGKILL)
            self._gone()

    def close(self) -> None:
        """As a person closes it: it tidies up and writes what it wants to keep."""
        if self.process is not None and self.browser is not None:
            self.browser.new_browser_cdp_session().send("Browser.close")
            self._gone()

    def _gone(self) -> None:
        assert self.process is not None
        self.process.wait(20)
        if self.browser is not None:
            self.browser.close()
        self.process = self.browser = None
