"""An invented clinic that is seeded again over a seed that was broken off: the same people and answers, other secrets."""

import tempfile
from pathlib import Path

from server.cli.demo_command import prepare
from server.demo.folder import MARK
from tests.demo.play import ADDRESS, PATIENTS, TODAY, Demo, make_demo, snapshot
from tests.soak.proof import Proof


def seeded_twice() -> Proof:
    with tempfile.TemporaryDirectory(prefix="yearmark-soak-") as name:
        first = make_demo(Path(name) / "data")
        before = snapshot(first)
        (first.folder / "demo.json").unlink()
        (first.folder / MARK).write_text("")
        anew = Demo(first.runtime, prepare(first.runtime, base_url=ADDRESS, today=TODAY, patients=PATIENTS))
        same = snapshot(anew) == before
        urls = [{each["url"] for each in made.content["patient_links"]} for made in (anew, first)]
        first.runtime.store.engine.dispose()
    wrong = [] if same else ["the second clinic differs"]
    wrong += (
        []
        if urls[0] and urls[1] and urls[0].isdisjoint(urls[1])
        else ["a link of the first seed is among the second's"]
    )
    return Proof("a demo seeded twice", f"{PATIENTS} patients, {len(urls[0])} links", "; ".join(wrong) or "nothing")
