"""What goes wrong at a clinic: envelopes that are held, each for another reason, and a link locked after five wrong dates."""

from datetime import datetime
from typing import TYPE_CHECKING

from server.crypto import derive
from server.crypto.envelope import parse_envelope
from server.crypto.token import read_token
from server.demo.answering import received
from server.intake.process import process_batch
from server.links.make import find_live_link
from server.models import Envelope, Timepoint
from server.queries.facts import status_of
from server.schedule.status import WAITING
from server.sync.gate import TRIES, Gates

if TYPE_CHECKING:
    from server.demo.follow import Follow


def make_trouble(follow: "Follow", kind: str, at: datetime) -> None:
    """`kind`: altered, out_of_range, wrong_birth_date or locked."""
    if kind == "locked":
        _lock(follow, at)
        return
    row = next(row for row in _waiting(follow, at))
    payload = follow.answering.payload(row, at)
    if kind == "out_of_range":
        part = next(part for part in payload["parts"] if part["instrument"] == "sane@1")
        part["answers"]["1"]["value"] = 140
    kept = follow.answering.seal(payload, at, wrong_birth_date=kind == "wrong_birth_date")
    if kind == "altered":
        kept = _altered(kept, at)
    session, runtime = follow.world.session, follow.world.runtime
    session.add(kept)
    session.flush()
    if process_batch(session, [kept], runtime.keys, runtime.library, now=at).recorded:
        raise RuntimeError(f"an envelope with trouble ({kind}) was recorded")


def _waiting(follow: "Follow", at: datetime) -> list[Timepoint]:
    today = follow.world.day(at)
    rows = [row for follow_up in follow.follow_ups() for row in follow_up.timepoints]
    return [row for row in rows if status_of(row, today) in WAITING]


def _altered(kept: Envelope, at: datetime) -> Envelope:
    """One character in the middle of what is sealed, as a faulty memory card would leave it."""
    text = kept.body.decode("ascii")
    middle = len(text) // 2
    text = f"{text[:middle]}{'A' if text[middle] != 'A' else 'B'}{text[middle + 1 :]}"
    return received(parse_envelope(text), at)


def _lock(follow: "Follow", at: datetime) -> None:
    link = find_live_link(follow.world.session, follow.patient)
    if link is None or link.token is None:
        raise RuntimeError("an invented patient without a link cannot be locked out")
    lookup = derive.lookup(read_token(link.token))
    gates = Gates(follow.world.session, [lookup], now=at)
    for number in range(TRIES):
        gates.prove(lookup, bytes([number]) * 32)
    follow.world.session.flush()
