"""A browser killed with -9 at a random moment after a tap: what the page called saved must be there when it is opened again.

`python -m tests.soak.killed_phone 20` does twenty kills in place of four hundred.
"""

import random
import sys
import tempfile
from dataclasses import dataclass, field
from pathlib import Path

from playwright.sync_api import Page, sync_playwright

from tests.browsers import reason_missing
from tests.journeys.chromium import Chromium
from tests.journeys.phone import WEEK_6_DAYS, Phone
from tests.journeys.site import BORN, Site, make_site
from tests.soak.proof import Proof

KILLS = 400
LATEST_MS = 40  # after the page has shown the tap
SLOWER = 6  # as a cheap phone
TAP = "code => { setTimeout(() => document.querySelector(`main [data-code='${code}'] input`).click()); }"
ITEM, CODES = "early@2/1", ("0", "1", "2")
CHOSEN = f'main[data-item="{ITEM}"] .opt.on'
# The page says each time something on it changes which answer is chosen, and whether it calls that saved.
REPORT = """new MutationObserver(() => {
  const chosen = document.querySelector("main[data-item] .opt.on"), kept = document.querySelector("[data-kept]");
  if (chosen && kept) console.debug(`said ${chosen.dataset.code} ${kept.dataset.kept}`);
}).observe(document, { subtree: true, childList: true, attributes: true });"""


@dataclass
class Tally:
    kills: int = 0
    called_saved: int = 0
    before_that: int = 0
    tap_lost: int = 0
    untrue: list[str] = field(default_factory=list)


def listen(page: Page) -> list[tuple[str, str]]:
    """What the page has said so far, the newest last: the answer's code, and how it is kept."""
    said: list[tuple[str, str]] = []

    def hear(text: str) -> None:
        if text.startswith("said "):
            _, code, kept = text.split()
            said.append((code, kept))

    page.on("console", lambda message: hear(message.text))
    page.add_init_script(REPORT)
    return said


def at_the_item(phone: Phone, site: Site) -> None:
    phone.page.goto(f"{site.address}/p/")
    phone.screen("forms")
    phone.page.locator('[data-do="carry-on"], [data-do="start-form"]').first.click()
    phone.item(ITEM)


def kept_code(page: Page) -> str | None:
    chosen = page.locator(CHOSEN)
    return chosen.get_attribute("data-code") if chosen.count() else None


@dataclass(frozen=True)
class Round:
    """What was on the phone before a tap, what was tapped, and the page's last word before the kill."""

    before: str | None
    tapped: str
    last: tuple[str, str]


def play(chromium: Chromium, site: Site, chance: random.Random, earlier: Round | None, tally: Tally) -> Round:
    """Opens the form, compares what is there with what was said in the round before, taps another answer and kills."""
    page = chromium.start()
    said = listen(page)
    at_the_item(Phone(page), site)
    there = kept_code(page)
    if earlier:
        judge(tally, earlier, there)
    tapped = chance.choice([code for code in CODES if code != there])
    page.context.new_cdp_session(page).send("Emulation.setCPUThrottlingRate", {"rate": SLOWER})
    # The page taps by itself, and is killed from the moment on at which it shows the tap: there saved and not saved lie close together.
    with page.expect_console_message(lambda message: message.text.startswith(f"said {tapped}")):
        page.evaluate(TAP, tapped)
    page.wait_for_timeout(chance.uniform(0, LATEST_MS))
    last = said[-1] if said else ("", "none")
    chromium.kill()
    tally.kills += 1
    return Round(there, tapped, last)


def judge(tally: Tally, done: Round, there: str | None) -> None:
    code, kept = done.last
    if kept == "saved" and code == done.tapped:
        tally.called_saved += 1
        if there != code:
            tally.untrue.append(f"kill {tally.kills}: {code} was called saved, {there} is there")
        return
    tally.before_that += 1
    tally.tap_lost += there == done.before
    if there not in (done.before, done.tapped):
        tally.untrue.append(f"kill {tally.kills}: {done.before} was there, {there} is there")


def killed_phone(kills: int = KILLS, seed: int = 15) -> Proof:
    name = "phone under kill -9"
    reason = reason_missing("chromium")
    if reason:
        return Proof(name, f"left out: {reason}")
    tally, chance = Tally(), random.Random(seed)
    with tempfile.TemporaryDirectory(prefix="yearmark-soak-") as folder, sync_playwright() as playwright:
        site = make_site(Path(folder) / "clinic")
        site.start()
        chromium = Chromium(Path(folder) / "profile", playwright)
        Phone(chromium.start()).come_in(site.link(site.enrol(operated_days_ago=WEEK_6_DAYS)), BORN)
        chromium.close()
        last: Round | None = None
        for _ in range(kills + 1):  # the last one only looks
            last = play(chromium, site, chance, last, tally)
        site.stop()
        site.case.store.engine.dispose()
    tried = f"{kills} kills, {tally.called_saved} after the page said saved; of {tally.before_that} before, {tally.tap_lost} taps lost"
    return Proof(name, tried, "; ".join(tally.untrue) or "nothing")


if __name__ == "__main__":
    print(killed_phone(int(sys.argv[1]) if len(sys.argv) > 1 else KILLS))
