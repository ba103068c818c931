"""What goes wrong at a clinic: envelopes that are held, each for another reason, a link locked after five wrong dates, and what
patients say on their phones beside the answers of a form."""

from datetime import timedelta
from random import Random
from typing import Any
from zoneinfo import ZoneInfo

from server.demo.answering import BUILD, Answering
from server.demo.phone import OpenedForm, Phone
from server.demo.stories import Fate
from server.intake.payload import FLAG_OF
from server.sync.due import wire_instant
from server.sync.gate import TRIES


def make_trouble(answering: Answering, kind: str) -> None:
    """`kind`: altered, out_of_range, wrong_birth_date, locked, or one of FLAG_OF."""
    if kind == "locked":
        _lock_out(answering)
        return
    phone, random = _of(answering), Random(f"{answering.story.seed}, trouble")
    opened = phone.open_forms(answering.simulation.now)[0]
    if kind in FLAG_OF:
        answering.send(phone, phone.seal(_notice(answering, opened, kind), opened.sheet))
        return
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


def _notice(answering: Answering, opened: OpenedForm, kind: str) -> dict[str, Any]:
    """Said on the list; a wrong side within its form, with the one that is right."""
    simulation, in_form = answering.simulation, kind == "wrong_side"
    offset = simulation.now.astimezone(ZoneInfo(simulation.time_zone)).utcoffset() or timedelta(0)
    return {
        "format": 1,
        "kind": "notice",
        "notice": kind,
        "form_id": opened.form["form_id"] if in_form else None,
        "true_side": {"left": "right", "right": "left"}[opened.form["side"]] if in_form else None,
        "sheet_revision": opened.sheet["revision"],
        "language": opened.sheet["patient"]["language"],
        "build": BUILD,
        "noticed_at": wire_instant(simulation.now),
        "utc_offset_minutes": int(offset.total_seconds() // 60),
        "time_zone": simulation.time_zone,
        "clock_skew_ms": 0,
    }


def _altered(envelope: str) -> str:
    """One character in the middle of what is sealed, as a faulty memory card would leave it."""
    middle = len(envelope) // 2
    return f"{envelope[:middle]}{'A' if envelope[middle] != 'A' else 'B'}{envelope[middle + 1 :]}"


def _lock_out(answering: Answering) -> None:
    phone = _of(answering, wrong_birth_date=True)
    for _ in range(TRIES):
        phone.fetch(answering.simulation.now)
