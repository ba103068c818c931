"""The phone app as a slow phone on a slow network has it: sizes, first paint, and the next screen after a tap.

Network and processor are throttled by Chromium itself: 400 ms and 400 kbit/s applied to each request, the processor to a sixth. The
floor of the first paint is an empty page of the same server; the floor of the next screen is one durable write and one frame.
"""

import gzip
import re
import shutil
import statistics
import tempfile
import urllib.request
from collections import Counter
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

from playwright.sync_api import Page, Playwright, sync_playwright

from scoring.library import load_library
from server.sync.pages import BUILT
from tests.benchmarks.table import Row
from tests.browsers import reason_missing
from tests.journeys.chromium import Chromium
from tests.journeys.network import asked_by, received, record_flags
from tests.journeys.phone import Phone
from tests.journeys.site import BORN, Site, make_site
from tests.timepoints.making import install, license_in, plan_file

ROUNDS = 5
TAPS = 95
# One long form: everything that a clinic may send, the owners' texts stood in for by invented ones of the same shape.
LICENSED = ("dash@1", "oss@1")
LONG_FORM = ("since@2", "pass@1", "pain@1", "sane@1", "sst@1", "ases@1", "spadi@1", "global-change@1", *LICENSED)
SLOW_NETWORK = {"offline": False, "latency": 400, "downloadThroughput": 50_000, "uploadThroughput": 50_000}
SLOWER = {"rate": 6}
EMPTY = "<!doctype html><html lang=en><meta charset=utf-8><title>empty</title><p>empty</p></html>"
FIRST_PAINT = """() => new Promise(resolve => new PerformanceObserver(list => {
  const paint = list.getEntries().find(each => each.name === 'first-paint');
  if (paint) resolve(paint.startTime);
}).observe({ type: 'paint', buffered: true }))"""
READY = "() => new Promise(resolve => requestAnimationFrame(() => setTimeout(() => resolve(performance.now()))))"
# Chooses an answer, waits until it is on disk, and gives where the button Next is. From then on `shown` waits for the next heading.
CHOOSE = """async value => {
  const main = document.querySelector('main');
  const option = main.querySelector(`[data-code="${value}"] input`);
  const digits = option ? [] : [...String(value)].map(digit => main.querySelector(`[data-digit="${digit}"]`));
  for (const each of option ? [option] : digits) each.click();
  const frame = () => new Promise(resolve => requestAnimationFrame(() => setTimeout(resolve)));
  do await frame(); while (document.querySelector('[data-kept]').dataset.kept !== 'saved');
  let from = null;
  document.addEventListener('click', event => { from = event.timeStamp; }, { capture: true, once: true });
  const screen = () => `${document.querySelector('main').dataset.screen} ${document.querySelector('main').dataset.item}`;
  const before = screen();
  window.shown = new Promise(resolve => {
    const watch = new MutationObserver(() => {
      if (screen() === before) return;
      watch.disconnect();
      requestAnimationFrame(() => setTimeout(() => resolve(performance.now() - from)));
    });
    watch.observe(document.getElementById('app'), { subtree: true, childList: true, attributeFilter: ['data-item', 'data-screen'] });
  });
  const next = document.querySelector('[data-do=next]');
  next.scrollIntoView({ block: 'nearest' });  // seven answers reach below the screen
  const { x, y, width, height } = next.getBoundingClientRect();
  return { x: x + width / 2, y: y + height / 2 };
}"""
BARE_WRITES = """async count => {
  const opening = indexedDB.open('floor', 1);
  opening.onupgradeneeded = () => opening.result.createObjectStore('rows');
  await new Promise((resolve, reject) => { opening.onsuccess = resolve; opening.onerror = reject; });
  const took = [];
  for (let at = 0; at < count; at += 1) {
    const from = performance.now();
    const writing = opening.result.transaction('rows', 'readwrite', { durability: 'strict' });
    writing.objectStore('rows').put(crypto.getRandomValues(new Uint8Array(2048)), 'draft');
    await new Promise(resolve => { writing.oncomplete = resolve; });
    await new Promise(resolve => requestAnimationFrame(() => setTimeout(resolve)));
    took.push(performance.now() - from);
  }
  return took;
}"""


def measure() -> list[Row]:
    """About a minute. Without a Chromium it says so and measures nothing."""
    reason = reason_missing("chromium")
    if reason:
        print(f"(left out: {reason}) ", end="")
        return []
    with tempfile.TemporaryDirectory(prefix="yearmark-bench-") as folder, sync_playwright() as playwright:
        bench = Bench(Path(folder), playwright, make_site(Path(folder) / "clinic"))
        bench.site.app = shutil.copytree(BUILT, Path(folder) / "app")
        (bench.site.app / "empty.html").write_text(EMPTY)
        bench.site.start()
        try:
            return [*bench.sizes(), *bench.first_paint(), *bench.next_screen()]
        finally:
            bench.site.stop()
            bench.site.case.store.engine.dispose()


@dataclass
class Bench:
    folder: Path
    playwright: Playwright
    site: Site

    @contextmanager
    def fresh_page(self, name: str, *flags: str) -> Iterator[Page]:
        """A browser with an empty profile, which is gone afterwards."""
        chromium = Chromium(self.folder / name, self.playwright, flags)
        try:
            yield chromium.start()
            chromium.close()
        finally:
            chromium.kill()

    def sizes(self) -> list[Row]:
        """What the first load asks for, by the browser's record, until the app is kept for being offline; each answer compressed here."""
        log = self.folder / "network.json"
        with self.fresh_page("sizes", *record_flags(log)) as page:
            phone = Phone(page)
            phone.open(self.site.link(self.site.enrol()))
            phone.kept_for_offline()
        asked = Counter(["/p/", *(url.removeprefix(self.site.address) for url in asked_by(self.site.address, log))])
        bodies = {path: self.body(path) for path in asked}
        scripts = {path: script_in(body) if path == "/p/" else body for path, body in bodies.items() if is_script(path)}
        once = sum(map(zipped, bodies.values()))
        return [
            Row("phone, script of the first screen, gzip", zipped(scripts["/p/"]), None, "kB", at_most=38),
            Row("phone, all script, gzip", sum(map(zipped, scripts.values())), None, "kB"),
            Row("phone, everything on first load, gzip", once, None, "kB", at_most=70),
            Row("phone, received until kept for offline", received(log) / 1000, once, "kB", at_most=70),
        ]

    def body(self, path: str) -> bytes:
        with urllib.request.urlopen(self.site.address + path) as answer:
            data: bytes = answer.read()
        return data

    def first_paint(self) -> list[Row]:
        """Medians of cold starts, app and empty page in turn."""
        app: list[tuple[float, float]] = []
        empty: list[float] = []
        for number in range(ROUNDS):
            app.append(self.cold_start(f"app-{number}"))
            with self.fresh_page(f"empty-{number}") as page:
                slow_down(page)
                page.goto(f"{self.site.address}/p/empty.html", wait_until="commit")
                empty.append(page.evaluate(FIRST_PAINT))
        painted, ready = (statistics.median(each) for each in zip(*app, strict=True))
        floor = statistics.median(empty)
        return [
            Row("phone, first paint, 400 ms 400 kbit/s 6x", painted, floor, "ms", at_most=1000),
            Row("phone, first screen ready to tap, the same", ready, floor, "ms"),
        ]

    def cold_start(self, name: str) -> tuple[float, float]:
        """Milliseconds from the start of the navigation to the first paint, and to the first screen drawn by the app."""
        link = self.site.link(self.site.enrol())
        with self.fresh_page(name) as page:
            slow_down(page)
            page.goto(link, wait_until="commit")
            painted: float = page.evaluate(FIRST_PAINT)
            page.wait_for_selector("main[data-screen=start] h1")
            ready: float = page.evaluate(READY)
        return painted, ready

    def next_screen(self) -> list[Row]:
        """The 95th percentile, over a run of so many screens of a long form, on a fast network and a slow processor."""
        taps: list[float] = []
        for spec in LICENSED:
            license_in(self.site.case, spec, "en", "es")
        install(self.site.case, plan_file("long", "1", *LONG_FORM), default=True)
        with self.fresh_page("taps") as page:
            phone = Phone(page)
            while len(taps) < TAPS:
                taps += self.taps_of_a_form(phone)
            floor: list[float] = page.evaluate(BARE_WRITES, TAPS)
        return [
            Row("phone, next screen at 6x, 95th percentile", late(taps[:TAPS]), late(floor), "ms", at_most=100),
            Row("phone, next screen at 6x, median", statistics.median(taps[:TAPS]), statistics.median(floor), "ms"),
        ]

    def taps_of_a_form(self, phone: Phone) -> list[float]:
        phone.page.goto("about:blank")
        phone.come_in(self.site.link(self.site.enrol()), BORN)
        phone.page.locator('[data-do="start-form"]').last.click()
        answers = quiet_answers()
        phone.item(next(iter(answers)))
        slower = phone.page.context.new_cdp_session(phone.page)
        slower.send("Emulation.setCPUThrottlingRate", SLOWER)
        found = [tap(phone.page, value) for value in answers.values()]
        slower.send("Emulation.setCPUThrottlingRate", {"rate": 1})
        phone.screen("who")
        return found


def quiet_answers() -> dict[str, int]:
    """An answer to each item of the long form that everybody is asked, such that no other question hangs on it and none warns."""
    found: dict[str, int] = {}
    for spec in LONG_FORM:
        items = [item for item in load_library().instrument(spec).items if item.asked_if is None]
        found |= {f"{spec}/{item.item}": 0 if 0 in item.numbers else item.numbers[0] for item in items}
    return found


def tap(page: Page, value: int) -> float:
    """Milliseconds from the tap on Next, by the browser's own stamp of it, until after the frame in which the next heading was drawn.

    The page is asked nothing meanwhile, since on a slow processor the asking itself would be measured.
    """
    place = page.evaluate(CHOOSE, value)
    page.mouse.click(place["x"], place["y"])
    took: float = page.evaluate("() => window.shown")
    return took


def slow_down(page: Page) -> None:
    session = page.context.new_cdp_session(page)
    session.send("Network.enable")
    session.send("Network.emulateNetworkConditions", SLOW_NETWORK)
    session.send("Emulation.setCPUThrottlingRate", SLOWER)


def is_script(path: str) -> bool:
    return path == "/p/" or path.endswith(".js")


def script_in(page: bytes) -> bytes:
    """The script that stands in the page itself."""
    found = re.findall(rb"<script type=.module.>(.*?)</script>", page, flags=re.DOTALL)
    assert found, "the page holds no script"
    return b"".join(found)


def zipped(body: bytes) -> float:
    """kB as gzip sends them."""
    return len(gzip.compress(body, 6)) / 1000


def late(times: list[float]) -> float:
    """95th percentile."""
    return statistics.quantiles(times, n=20)[-1]
