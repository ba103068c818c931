"""A client that was written from PROTOCOL.md alone meets every status of that page, and does at each what the page says."""

import json
import re
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, replace
from datetime import date, datetime, timedelta
from pathlib import Path
from typing import Any

import pytest
from sqlalchemy import select, text

from server.crypto.derive import stored_digest
from server.crypto.envelope import LONGEST
from server.links.make import end_links, replace_link
from server.models import Envelope, Patient, Response
from server.sync.receive import MOST_A_DAY
from tests.clinic_case import Case, make_case
from tests.stranger import Post, Reply, best
from tests.stranger_client import Client
from tests.sync.test_quota import had_stored

PROTOCOL = Path("server/sync/PROTOCOL.md").read_text(encoding="utf-8")
WRONG = date(1952, 3, 1)


@pytest.fixture(scope="module")
def case(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Case]:
    """One clinic for this file, in which each test has a patient of its own. Its clock only goes forward."""
    folder = tmp_path_factory.mktemp("clinic")
    made = make_case(f"sqlite:///{folder / 'yearmark.sqlite3'}", folder)
    yield made
    made.store.engine.dispose()


def opened(case: Case) -> Client:
    client = Client(case.phone(case.enrol()), lambda: case.now)
    assert client.open() == "due"
    return client


def fill_in(case: Case, client: Client, **changes: Any) -> str:
    """A form that waits to be sent."""
    phone = client.phone
    envelope = phone.seal({**phone.payload(phone.sheet["forms"][0], best, case.now), **changes})
    client.waiting.append(envelope)
    return envelope


def stored(case: Case, *clients: Client) -> list[str]:
    """The envelopes of these links that the server has and nobody has read yet, in the order they came."""
    links = [stored_digest(client.phone.lookup) for client in clients]
    unread = select(Envelope.body).where(Envelope.lookup_hash.in_(links), Envelope.state == "received")
    with case.store.reading() as session:
        return [body.decode() for body in session.scalars(unread.order_by(Envelope.id))]


def counting(client: Client) -> list[tuple[str, int]]:
    """Path and status of every reply from now on."""
    post, met = client.phone.post, list[tuple[str, int]]()

    def noted(path: str, body: Any) -> Reply:
        reply = post(path, body)
        met.append((path, reply.status))
        return reply

    client.phone.post = noted
    return met


def test_the_page_names_no_status_that_is_not_met_here() -> None:
    sending = PROTOCOL.split("## 5. Sending")[1]
    assert re.findall(r"^\| (\d{3}) \|", sending, re.M) == ["405", "413", "422", "503"]
    assert re.findall(r"^\| `(\w+)` \|", sending, re.M) == ["stored", "duplicate", "refused"]
    assert "`malformed`, `too_large` or `check`" in sending
    assert '`{"code": "unavailable"|"quota"}`' in sending
    assert "`state` is `due`, `nothing_due`, `ended` or `replaced`" in PROTOCOL


def test_a_link_is_due_until_its_form_is_answered_and_then_asks_nothing(case: Case) -> None:
    client = opened(case)
    assert len(client.asked) == 1
    fill_in(case, client)
    client.send()
    case.process()
    assert (client.open(), client.asked, client.held) == ("nothing_due", [], [])


def test_a_replaced_and_an_ended_link_open_nothing_and_still_send(case: Case) -> None:
    patient_id = case.enrol()
    old = Client(case.phone(patient_id), lambda: case.now)
    old.open()
    with case.store.writing() as session:
        replace_link(session, session.get_one(Patient, patient_id), now=case.now)
    case.publish(patient_id)
    new = Client(case.phone(patient_id), lambda: case.now)
    assert (old.open(), new.open()) == ("replaced", "due")
    with case.store.writing() as session:
        end_links(session, session.get_one(Patient, patient_id), now=case.now)
    assert new.open() == "ended"
    sent = [fill_in(case, each) for each in (old, new)]
    old.send()
    new.send()
    assert (old.waiting, new.waiting, stored(case, old, new)) == ([], [], sent)


def test_a_wrong_date_an_unknown_link_and_a_locked_one_say_check_and_send_nothing(case: Case) -> None:
    client = opened(case)
    envelope = fill_in(case, client)
    wrong = Client(replace(client.phone, born=WRONG), client.clock)
    unknown = Client(replace(client.phone, token="A" * 28), client.clock)
    assert [each.open() for each in (unknown, *[wrong] * 5, client)] == ["check"] * 7
    client.send()
    assert (client.kept, client.waiting, stored(case, client)) == ({envelope: "check"}, [], [])


def test_stored_and_duplicate_are_forgotten_and_a_form_whose_receipt_was_lost_is_stored_once(case: Case) -> None:
    client = opened(case)
    envelope = fill_in(case, client)
    assert client.phone.send(envelope)[0]["status"] == "stored"
    assert client.waiting == [envelope], "the receipt never reached the phone"
    met = counting(client)
    client.send()
    assert (client.waiting, client.kept, stored(case, client)) == ([], {}, [envelope])
    assert met == [("/api/envelopes", 200)]
    assert client.phone.send(envelope)[0]["status"] == "duplicate"


@pytest.mark.parametrize("already", [False, True], ids=["stored", "duplicate"])
def test_a_receipt_with_another_hash_is_not_believed(case: Case, already: bool) -> None:
    client = opened(case)
    envelope = fill_in(case, client)
    if already:
        client.phone.send(envelope)
    post = client.phone.post

    def altered(path: str, body: Any) -> Reply:
        reply = post(path, body)
        reply.body["receipts"][0]["sha256"] = "0" * 64
        return reply

    client.phone.post = altered
    client.send()
    assert (client.waiting, client.kept) == ([], {envelope: "other_hash"})


def test_what_is_refused_is_kept_with_its_reason_and_the_good_one_beside_it_is_forgotten(case: Case) -> None:
    client = opened(case)
    malformed, too_large = "not an envelope", "A" * (LONGEST + 1)
    client.waiting += [malformed, too_large]
    good = fill_in(case, client)
    client.send()
    assert client.kept == {malformed: "malformed", too_large: "too_large"}
    assert (client.waiting, stored(case, client)) == ([], [good])


def test_after_413_fewer_go_at_once_and_one_alone_is_kept_as_too_large(
    case: Case, monkeypatch: pytest.MonkeyPatch
) -> None:
    client = opened(case)
    first, huge = fill_in(case, client), "A" * 400_000
    client.waiting.append(huge)
    last = fill_in(case, client)
    monkeypatch.setitem(case.app.config, "MAX_CONTENT_LENGTH", 300_000)  # a web server in front may take less too
    met = counting(client)
    client.send()
    assert [status for _path, status in met] == [413, 200, 413, 200]
    assert (client.waiting, client.kept, stored(case, client)) == ([], {huge: "too_large"}, [first, last])


def with_one_more(case: Case) -> Post:
    return lambda path, body: case.post(path, {**body, "more": 1})


def by_another_method(case: Case) -> Post:
    return lambda path, body: Reply(case.app.test_client().put(path, json=body).status_code, None)


@pytest.mark.parametrize(("faulty", "status"), [(with_one_more, 422), (by_another_method, 405)])
def test_405_and_422_are_the_clients_own_fault_and_it_keeps_everything(
    case: Case, faulty: Callable[[Case], Post], status: int
) -> None:
    client = opened(case)
    envelope = fill_in(case, client)
    client.phone.post = faulty(case)
    met = counting(client)
    client.send()
    client.send()
    assert client.open() is None
    assert (met, client.problem) == ([("/api/envelopes", status)], "client_fault")
    assert (client.waiting, client.kept, stored(case, client)) == ([envelope], {}, [])


def test_a_question_for_what_is_due_that_is_too_long_is_the_clients_fault_too(case: Case) -> None:
    client = opened(case)

    def padded(path: str, body: Any) -> Reply:
        data = json.dumps(body) + " " * 4096
        return Reply(case.app.test_client().post(path, data=data, content_type="application/json").status_code, None)

    client.phone.post = padded
    met = counting(client)
    assert (client.open(), client.problem, met) == (None, "client_fault", [("/api/due", 413)])


@contextmanager
def without_its_tables(case: Case) -> Iterator[None]:
    """The database cannot do what is asked of it."""
    with case.store.writing() as session:
        session.execute(text("ALTER TABLE gate RENAME TO gate_elsewhere"))
    yield
    with case.store.writing() as session:
        session.execute(text("ALTER TABLE gate_elsewhere RENAME TO gate"))


def test_while_the_server_is_unavailable_nothing_is_asked_before_retry_after_has_passed(case: Case) -> None:
    client = opened(case)
    envelope = fill_in(case, client)
    met = counting(client)
    with without_its_tables(case):
        client.send()
        client.send()
        assert (client.open(), client.problem, client.waiting) == (None, "unavailable", [envelope])
        case.now += timedelta(seconds=300)
        assert (client.open(), client.problem) == (None, "unavailable")
    assert met == [("/api/envelopes", 503), ("/api/due", 503)]
    case.now += timedelta(seconds=299)
    client.send()
    assert len(met) == 2
    case.now += timedelta(seconds=1)
    client.send()
    assert (client.problem, client.waiting, stored(case, client)) == (None, [], [envelope])


def test_a_link_that_has_sent_enough_for_today_waits_and_sends_the_rest_when_the_day_has_passed(case: Case) -> None:
    client = opened(case)
    had_stored(case, client.phone, MOST_A_DAY)
    envelope = fill_in(case, client)
    began, met = case.now, counting(client)
    while client.waiting and len(met) < 30:
        client.send()
        case.now = client.not_before or case.now
    assert (client.waiting, client.kept, stored(case, client)[-1]) == ([], {}, envelope)
    assert met == [("/api/envelopes", 503)] * 24 + [("/api/envelopes", 200)]
    assert case.now - began == timedelta(days=1)


@pytest.mark.parametrize("status", [None, 404, 429, 500, 502, 503], ids=str)
def test_any_other_status_or_none_is_tried_a_little_later_each_time(case: Case, status: int | None) -> None:
    """A 503 without `Retry-After` is not this server's."""
    client = opened(case)
    envelope = fill_in(case, client)
    post, waits = client.phone.post, list[timedelta]()

    def nobody(path: str, body: Any) -> Reply:
        if status is None:
            raise ConnectionError
        return Reply(status, None)

    client.phone.post = nobody
    for _try in range(4):
        client.send()
        assert client.not_before is not None
        waits.append(client.not_before - case.now)
        case.now = client.not_before
    assert waits == sorted(set(waits)) and waits[0] > timedelta(0)
    assert (client.problem, client.waiting, client.kept) == ("no_answer", [envelope], {})
    client.phone.post = post
    client.send()
    assert (client.problem, client.waiting, stored(case, client)) == (None, [], [envelope])


def test_a_form_that_was_held_is_told_at_the_next_fetch_and_not_asked_again(case: Case) -> None:
    client = opened(case)
    [form_id] = client.asked
    fill_in(case, client, parts=[])
    client.send()
    assert client.kept == {}, "stored unread"
    case.process()
    client.open()
    assert (client.held, client.asked) == ([form_id], [])


@dataclass
class Clock:
    """A phone's clock that is `off`; each look at it takes as long as half a request."""

    case: Case
    off: timedelta
    passes: timedelta

    def __call__(self) -> datetime:
        read = self.case.now + self.off
        self.case.now += self.passes
        return read


@pytest.mark.parametrize(
    ("off_ms", "passes_ms", "skew"),
    [(3_600_000, 0, 3_600_000), (3_600_000, 700, 3_599_300), (-86_400_000, 700, -86_400_000), (500, 700, 0)],
    ids=["ahead", "ahead, slow", "behind", "no more than latency"],
)
def test_the_skew_is_measured_at_a_fetch_and_the_server_takes_it_off(
    case: Case, off_ms: int, passes_ms: int, skew: int
) -> None:
    off, passes = timedelta(milliseconds=off_ms), timedelta(milliseconds=passes_ms)
    client = opened(case)
    client.phone.clock = Clock(case, off, passes)
    client.open()
    assert client.phone.clock_skew_ms == skew
    case.now += timedelta(minutes=10)
    finished = case.now
    payload = client.phone.payload(client.phone.sheet["forms"][0], best, finished + off)
    case.now += timedelta(days=2)
    client.phone.send(client.phone.seal(payload))
    case.process()
    with case.store.reading() as session:
        response = session.scalars(select(Response).order_by(Response.id.desc())).first()
    assert response is not None
    assert response.clock_skew_ms == skew
    assert abs(response.finished_at - finished) <= passes


def test_a_notice_goes_the_way_of_a_form_with_the_skew_in_it(case: Case) -> None:
    client = opened(case)
    before = client.phone.notice("call_me", case.now)
    client.phone.clock = Clock(case, timedelta(hours=1), timedelta(0))
    client.open()
    notice = client.phone.notice("call_me", case.now)
    assert (before["clock_skew_ms"], notice["clock_skew_ms"]) == (None, 3_600_000)
    envelope = client.phone.seal(notice)
    client.waiting.append(envelope)
    client.send()
    assert (client.waiting, client.kept, stored(case, client)) == ([], {}, [envelope])
