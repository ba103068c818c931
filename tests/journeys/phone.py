"""The phone app as a person uses it, by its stable hooks: data-screen, data-item, data-code, data-do."""

from collections.abc import Mapping
from datetime import date

from playwright.sync_api import Locator, Page, expect

DECLINE = "decline"
NOT_APPLICABLE = "na"
Answer = int | str
SST = {f"sst@1/{n}": 1 if n <= 9 else 0 for n in range(1, 13)}
# The form of the first year: item to option's code, number, text, DECLINE or NOT_APPLICABLE; in the order in which they are asked.
YEAR_1: dict[str, Answer] = {
    "since@2/1": 0,
    "since@2/2": 1,
    **{f"since@2/{n}": 0 for n in range(7, 11)},
    "since@2/3": 26,
    "since@2/4": 2,
    "since@2/5": NOT_APPLICABLE,
    "since@2/6": 0,
    "pass@1/1": 1,
    "pain@1/1": 3,
    "sane@1/1": 80,
    **SST,
}
# The form of the sixth week, the shortest one.
WEEK_6: dict[str, Answer] = {**{f"early@2/{n}": 0 for n in (1, 6, 3, 4, 2, 7, 5)}, "pain@1/1": 2, "pass@1/1": 1}
WEEK_6_DAYS = 42


class Phone:
    """Every method waits for what it needs to see; `within` is the longest wait."""

    def __init__(self, page: Page, within_ms: int = 15_000) -> None:
        self.page = page
        page.set_default_timeout(within_ms)
        expect.set_options(timeout=within_ms)

    @property
    def words(self) -> str:
        """All that can be read on the screen; spaces that do not break, as in telephone numbers, are spaces."""
        return self.page.inner_text("body").replace("\N{NO-BREAK SPACE}", " ")

    def screen(self, name: str, within_ms: int | None = None) -> Locator:
        main = self.page.locator(f'main[data-screen="{name}"]')
        main.wait_for(timeout=within_ms)
        return main

    def item(self, key: str) -> Locator:
        main = self.page.locator(f'main[data-item="{key}"]')
        main.wait_for()
        return main

    def do(self, what: str) -> None:
        self.page.locator(f'[data-do="{what}"]').first.click()

    def open(self, link: str) -> None:
        self.page.goto(link)
        self.screen("start")

    def give_birth_date(self, born: date) -> None:
        self.screen("birth")
        for name, text in (("day", f"{born.day}"), ("month", f"{born.month}"), ("year", f"{born.year}")):
            self.page.fill(f'[name="b-{name}"]', text)
        self.do("open")

    def come_in(self, link: str, born: date) -> None:
        """From the link to the list of forms, and until the app is kept for being offline."""
        self.open(link)
        self.do("begin")
        self.give_birth_date(born)
        self.screen("forms")
        self.kept_for_offline()

    def kept_for_offline(self) -> None:
        # Waiting for a function of our own would need eval, which the page's policy forbids.
        self.page.locator("html[data-offline=ready]").wait_for(state="attached")

    def start_form(self, side: str = "right") -> None:
        self.page.locator(f'[data-side="{side}"] [data-do="start-form"]').click()

    def answer(self, key: str, value: Answer) -> None:
        """One item answered, and on; the answer is on disk before the next screen shows."""
        self.item(key)
        if value == DECLINE:
            self.do("next")
            self.do("decline")
        else:
            self.put(value)
            self.do("next")
        self.page.locator(f'main:not([data-item="{key}"]), main[data-screen="warning"]').wait_for()

    def put(self, value: Answer) -> None:
        """The answer on the screen, without going on."""
        text = self.page.locator("main textarea")
        number = self.page.locator("main input[name=number]")
        option = self.page.locator(f'main [data-code="{value}"]')
        if value != NOT_APPLICABLE and text.count():
            text.fill(str(value))
        elif value != NOT_APPLICABLE and number.count():
            for digit in str(value):
                self.page.locator(f'[data-digit="{digit}"]').click()
            expect(number).to_have_value(str(value))
        else:
            option.click()
            expect(option).to_have_class("opt on" if "opt" in str(option.get_attribute("class")) else "cell on")

    def answer_all(self, answers: Mapping[str, Answer]) -> None:
        for key, value in answers.items():
            self.answer(key, value)

    def say_who(self, who: str = "patient") -> None:
        self.screen("who")
        self.page.locator(f'[data-code="{who}"]').click()
        self.do("next")
        self.screen("review")

    def fill_form(self, answers: Mapping[str, Answer] = YEAR_1, *, side: str = "right") -> None:
        """From the list of forms to the review."""
        self.start_form(side)
        self.answer_all(answers)
        self.say_who()

    def send(self) -> None:
        self.screen("review")
        self.do("send")
