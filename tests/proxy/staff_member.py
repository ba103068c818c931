"""Somebody of the staff at a browser, with a password and an authenticator app, by the pages from the first sign-in on."""

from base64 import b32decode
from dataclasses import dataclass, field
from time import time

from cryptography.hazmat.primitives.hashes import SHA1
from cryptography.hazmat.primitives.twofactor.totp import TOTP
from playwright.sync_api import Page

STEP_SECONDS = 30


@dataclass
class StaffMember:
    """`front`: the clinic's address. `codes`: the printed recovery codes."""

    page: Page
    front: str
    email: str
    password: str
    app: TOTP | None = field(default=None, repr=False)
    codes: list[str] = field(default_factory=list, repr=False)

    def go(self, path: str) -> str:
        """What the page says."""
        self.page.goto(f"{self.front}{path}")
        return self.page.inner_text("main")

    def send(self, form: str, *ticked: str, **typed: str) -> str:
        """Fills a form, chosen by a selector, and sends it; gives what the next page says."""
        found = self.page.locator(f"main {form}")
        for name, text in typed.items():
            entry = found.locator(f"[name={name}]")
            if entry.evaluate("each => each.tagName") == "SELECT":
                entry.select_option(text)
            else:
                entry.fill(text)
        for name in ticked:
            found.locator(f"#{name}").check()
        with self.page.expect_navigation():
            found.locator("button:not([type=button])").click()
        return self.page.inner_text("main")

    def give_password(self) -> None:
        self.go("/sign-in")
        self.send("form", email=self.email, password=self.password)

    def take_invitation(self, link: str) -> None:
        """The one-time link: its secret stands after "#", and the page's own script puts it into the form."""
        self.page.goto(link)
        self.send("form", new_password=self.password)

    def set_up_app(self) -> None:
        """After the first password: the key is typed into an app, a code of it into the page, the recovery codes are kept."""
        self.send("form[action$='/app']")
        key = self.page.inner_text(".link-box .token").replace(" ", "")
        self.app = TOTP(b32decode(key), 6, SHA1(), STEP_SECONDS)  # of another library than the server's own
        self.send("form", code=self._code(time()))
        self.codes = self.page.locator(".codes .token").all_inner_texts()
        self.send("form")

    def sign_in(self) -> None:
        """With the app, whose clock goes half a minute ahead here: a code is good once, and this one comes after any that was used."""
        self.give_password()
        self.send("form:has([name=code])", code=self._code(time() + STEP_SECONDS))

    def sign_in_without_the_app(self) -> None:
        """With the next of the printed codes."""
        self.give_password()
        self.page.click("main details summary")
        self.send("form:has([name=recovery_code])", recovery_code=self.codes.pop())

    def sign_out(self) -> None:
        with self.page.expect_navigation():
            self.page.click(".who button")

    def _code(self, at: float) -> str:
        assert self.app is not None
        return self.app.generate(int(at)).decode()
