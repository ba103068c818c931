"""What one walk through a clinic's life has at hand: a browser, the clinic by its commands, its address, and the mail that left it."""

import re
from dataclasses import dataclass, field
from datetime import date

from playwright.sync_api import Browser, Page

from tests.journeys.chromium import DESK, PHONE
from tests.journeys.phone import WEEK_6, Phone
from tests.journeys.site import until
from tests.proxy.live_clinic import LiveClinic
from tests.proxy.staff_member import StaffMember
from tests.reminders.peer import Peer

LINK = re.compile(r"https://\S+#\S+")


@dataclass
class Walk:
    """`front`: the clinic's address. `patients`: by first name, their number in addresses."""

    browser: Browser
    clinic: LiveClinic
    front: str
    mail: Peer
    patients: dict[str, int] = field(default_factory=dict)

    def page(self, **size: object) -> Page:
        # The certificate is the test's own; apart from that it is what a phone meets.
        return self.browser.new_context(viewport=size, locale="en-US", ignore_https_errors=True).new_page()  # type: ignore[arg-type]

    def member(self, email: str, password: str) -> StaffMember:
        return StaffMember(self.page(**DESK), self.front, email, password)

    def mails_to(self, address: str) -> list[str]:
        return [mail.get_content() for mail in self.mail.taken if mail["To"] == address]

    def link_mailed_to(self, address: str) -> str:
        """From the one mail that this address ever got, once it is there."""
        until(lambda: self.mails_to(address), f"a mail to {address}")
        (text,) = self.mails_to(address)
        (link,) = LINK.findall(text)
        assert link.startswith(self.front)
        return str(link)

    def answer(self, link: str, born: date) -> Phone:
        """The form of six weeks, on a phone of the patient's own, which then keeps what it keeps."""
        phone = Phone(self.page(**PHONE))
        phone.open(link)
        phone.do("begin")
        phone.give_birth_date(born)
        phone.screen("forms")
        self.fill(phone)
        return phone

    def answer_anew(self, phone: Phone, link: str) -> str:
        """The patient opens the link once more, on the phone that has answered. What the list says of the form, which is then answered."""
        phone.page.close()
        again = Phone(phone.page.context.new_page())
        again.open(link)
        again.do("begin")
        row = again.page.locator("[data-form][data-standing=start]")
        row.locator(".note").wait_for()
        said = row.inner_text()
        self.fill(again)
        return said

    def fill(self, phone: Phone) -> None:
        phone.fill_form(WEEK_6)
        phone.send()
        phone.screen("received")

    def form_shown(self, member: StaffMember, name: str) -> str:
        """What the page of the patient's one answered form says, once it is there."""
        form = member.page.locator("main table.forms th a[href^='/responses/']")

        def is_there() -> bool:
            member.go(f"/patients/{self.patients[name]}")
            return form.count() > 0

        until(is_there, f"the form of {name} is on the patient's page")
        return member.go(str(form.get_attribute("href")))
