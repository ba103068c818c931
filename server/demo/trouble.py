"""What goes wrong at a clinic: envelopes that are held, each for another reason, and a link locked after five wrong dates."""

from random import Random

from server.demo.answering import Answering
from server.demo.phone import Phone
from server.demo.stories import Fate
from server.sync.gate import TRIES


def make_trouble(answering: Answering, kind: str) -> None:
    """`kind`: altered, out_of_range, wrong_birth_date or locked."""
    if kind == "locked":
        _lock_out(answering)
        return
    phone, random = _of(answering), Random(f"{answering.story.seed}, trouble")
    opened = phone.open_forms(answering.simulation.now)[0]
    payload = answering.payload(opened, Fate("phone"), random, begun_at=answering.simulation.now)
    if kind == "out_of_range":
        part = next(part for part in payload["parts"] if part["instrument"] == "sane@1")
        part["answers"]["1"]["value"] = 140
    key = _of(answering, wrong_birth_date=True).answer_key if kind == "wrong_birth_date" else None
    envelope = phone.seal(payload, opened.sheet, answer_key=key)
    answering.send(phone, _altered(envelope) if kind == "altered" else envelope)


def _of(answering: Answering, *, wrong_birth_date: bool = False) -> Phone:
    phone = answering.phone(wrong_birth_date=wrong_birth_date)
    if phone is None:
        raise RuntimeError("an invented patient without a link has no trouble with it")
    return phone


def _altered(envelope: str) -> str:
    """One character in the middle of what is sealed, as a faulty memory card would leave it."""
    middle = len(envelope) // 2
    return f"{envelope[:middle]}{'A' if envelope[middle] != 'A' else 'B'}{envelope[middle + 1 :]}"


def _lock_out(answering: Answering) -> None:
    phone = _of(answering, wrong_birth_date=True)
    for _ in range(TRIES):
        phone.fetch(answering.simulation.now)
