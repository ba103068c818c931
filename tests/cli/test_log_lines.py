"""What a served clinic logs: one JSON object a line, with what happened and how often, and never a word about a person."""

import json
import os
import signal
import subprocess
import sys
import urllib.request
from collections import Counter
from dataclasses import dataclass
from datetime import date, datetime
from pathlib import Path
from typing import Any
from urllib.error import HTTPError
from urllib.parse import quote

from server.app import create_app
from server.installation.runtime import Runtime
from server.jobs.clock import tick
from server.queries.clock import real_now, set_clock, the_clinic
from tests.cli.shell import Shell
from tests.clinic_case import Case
from tests.journeys.site import until
from tests.reminders.cast import INVITES, madrid, right
from tests.reminders.peer import mail_server
from tests.stranger import Reply, Stranger, best
from tests.structure.tree import ROOT

BORN = date(1931, 7, 19)
PERSON: dict[str, Any] = {
    "first_name": "Zebulonia",
    "last_name": "Quartzmarrow",
    "birth_on": BORN,
    "phone": "+34 555 019 8877",
    "email": "zq.canary@patient.example",
}
SAID = "Marmalade"  # what the patient answers
TELL_TALE = ["Zebulonia", "Quartzmarrow", "1931", "8877", "zq.canary", "patient.example", SAID]
ABOUT_A_PERSON = f"Zebulonia Quartzmarrow, {BORN}, +34 555 019 8877, zq.canary@patient.example, {SAID}"


@dataclass
class Telling:
    """The server that goes wrong; its standard error is the log."""

    process: subprocess.Popen[str]
    log: Path
    address: str = ""

    def lines(self) -> list[dict[str, Any]]:
        return [json.loads(line) for line in self.log.read_text(encoding="utf-8").splitlines()]

    def events(self) -> list[str]:
        return [line["event"] for line in self.lines()]

    def until_logged(self, event: str) -> None:
        until(lambda: any(event in each for each in self.events()), f"{event!r} stands in {self.events()}")

    def taken_in(self) -> dict[str, int]:
        total = Counter[str]()
        for line in self.lines():
            total.update(line["counts"] if line["event"] == "intake" else {})
        return dict(total)

    def post(self, path: str, body: Any) -> Reply:
        asked = urllib.request.Request(
            f"{self.address}{path.lstrip('/')}", json.dumps(body).encode(), {"Content-Type": "application/json"}
        )
        with urllib.request.urlopen(asked, timeout=30) as answer:
            return Reply(answer.status, json.load(answer))


def answer(telling: Telling, token: str, now: datetime) -> None:
    """As a phone: fetches what is due and sends it answered, and once more with a word where a code belongs, which is held."""
    phone = Stranger(token, BORN, telling.post)
    assert phone.fetch()[0] == 200
    form = phone.sheet["forms"][0]
    payloads = [phone.payload(form, best, now), phone.payload(form, lambda _item: SAID, now)]
    assert len(phone.send(*(phone.seal(payload) for payload in payloads))) == 2


def fail_at_a_page(telling: Telling) -> None:
    try:
        urllib.request.urlopen(f"{telling.address}fails/{quote(ABOUT_A_PERSON)}?q={SAID}", timeout=30)
    except HTTPError as problem:
        assert problem.code == 500
        return
    raise AssertionError("the page did not fail")


def test_a_log_tells_what_went_wrong_and_nothing_about_whom(demo: Shell, inside: Runtime, tmp_path: Path) -> None:
    case = Case(inside, create_app, madrid(INVITES))
    with inside.store.writing() as session:
        set_clock(the_clinic(session), case.now, real_now())
    first, _second = (case.enrol(right(), **PERSON) for _each in range(2))
    token = case.phone(first).token
    tick(inside)  # two invitations wait for the server

    with mail_server() as peer, (tmp_path / "log").open("w") as log:
        peer.at_recipient = f"550 nobody here is {ABOUT_A_PERSON}"
        command = [sys.executable, "-m", "tests.cli.telling_child", str(demo.data), ABOUT_A_PERSON]
        environment = {**os.environ, "YEARMARK_PORT": "0", "YEARMARK_SMTP": f"127.0.0.1:{peer.port}"}
        with subprocess.Popen(
            command, cwd=ROOT, env=environment, stdout=subprocess.PIPE, stderr=log, text=True
        ) as process:
            try:
                assert process.stdout is not None
                telling = Telling(process, tmp_path / "log", process.stdout.readline().split()[2])
                telling.until_logged("intake stopped for now")
                answer(telling, token, case.now)
                fail_at_a_page(telling)
                for event in ("the address was refused (550)", "sender failed", "tick"):
                    telling.until_logged(event)
                until(lambda: telling.taken_in() == {"recorded": 1, "held": 1}, "both envelopes were taken in")
            finally:
                process.send_signal(signal.SIGTERM)
                said = process.stdout.read() if process.stdout else ""
            assert process.wait(60) == 0

    lines = telling.lines()
    assert {frozenset({"at", "level", "logger", "event"} - set(line)) for line in lines} == {frozenset()}
    assert all(datetime.fromisoformat(line["at"]).utcoffset() is not None for line in lines)
    by_event = {line["event"]: line for line in lines}
    assert by_event["a page failed: GET /fails/<typed>"]["failure"].startswith("ValueError in")
    assert by_event["a thread ended by a fault of its own"]["level"] == "critical"
    assert by_event["tick"]["counts"]["failed"] == 0
    assert {"met …", "7 wait", "said something"} <= set(by_event)
    assert [line for line in lines if "%" in line["event"] or line["event"].startswith("begins")] == []
    whole = (tmp_path / "log").read_text(encoding="utf-8") + said
    assert [word for word in (*TELL_TALE, token) if word in whole] == []
