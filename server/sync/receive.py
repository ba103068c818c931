"""Takes envelopes in, unread. PROTOCOL.md section 5.

1. The clear header is parsed; what is malformed or too large is refused.
2. The proof is checked; a wrong one is refused.
3. The bytes are committed; only then a receipt says `stored`.
"""

from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from sqlalchemy import select
from sqlalchemy.orm import Session

from server.crypto.derive import stored_digest
from server.crypto.encoding import unb64u
from server.crypto.envelope import Envelope as Sealed
from server.crypto.envelope import EnvelopeProblem, parse_envelope
from server.models import Envelope
from server.store.bulk import insert_rows
from server.store.engine import Store
from server.sync.gate import Gates

MOST_IN_ONE_POST = 20


@dataclass(frozen=True)
class Receipt:
    envelope_id: str | None
    status: str  # stored, duplicate, refused
    reason: str | None
    sha256: str | None  # hexadecimal
    received_at: datetime


@dataclass(frozen=True)
class Posted:
    envelope: str
    proof: str


@dataclass(frozen=True)
class Read:
    """An envelope whose clear header could be read, and its proof."""

    sealed: Sealed
    proof: bytes

    @property
    def envelope_id(self) -> str:
        return str(self.sealed.header.envelope_id)


def receive(store: Store, posted: Sequence[Posted], *, now: datetime) -> list[Receipt]:
    """One receipt an envelope, in order. All are committed together before any receipt exists."""
    read = [_read(each, now) for each in posted]
    with store.writing() as session:
        return _keep_all(session, read, now)


def _read(posted: Posted, now: datetime) -> Read | Receipt:
    try:
        return Read(parse_envelope(posted.envelope), unb64u(posted.proof))
    except EnvelopeProblem as problem:
        return Receipt(None, "refused", problem.reason, None, now)
    except ValueError:
        return Receipt(None, "refused", "malformed", None, now)


def _keep_all(session: Session, read: Sequence[Read | Receipt], now: datetime) -> list[Receipt]:
    sound = [each for each in read if isinstance(each, Read)]
    gates = Gates(session, [each.sealed.header.lookup for each in sound], now=now)
    known = _known(session, [each.envelope_id for each in sound])
    rows: list[dict[str, Any]] = []
    receipts = [each if isinstance(each, Receipt) else _keep(each, gates, known, rows, now) for each in read]
    insert_rows(session, Envelope, rows)
    return receipts


def _known(session: Session, ids: Sequence[str]) -> dict[str, set[bytes]]:
    known: dict[str, set[bytes]] = defaultdict(set)
    for envelope_id, sha256 in session.execute(
        select(Envelope.envelope_id, Envelope.sha256).where(Envelope.envelope_id.in_(ids))
    ):
        known[envelope_id].add(sha256)
    return known


def _keep(read: Read, gates: Gates, known: dict[str, set[bytes]], rows: list[dict[str, Any]], now: datetime) -> Receipt:
    header, sha256 = read.sealed.header, read.sealed.sha256
    if gates.prove(header.lookup, read.proof) is None:
        return Receipt(read.envelope_id, "refused", "check", None, now)
    hashes = known[read.envelope_id]
    if sha256 in hashes:
        return Receipt(read.envelope_id, "duplicate", None, sha256.hex(), now)
    rows.append(
        {
            "envelope_id": read.envelope_id,
            "sha256": sha256,
            "lookup_hash": stored_digest(header.lookup),
            "key_id": header.key_id,
            "received_at": now,
            "same_id_other_content": bool(hashes),
            "body": read.sealed.text.encode("ascii"),
            "body_wrapped": False,
            "state": "received",
        }
    )
    hashes.add(sha256)
    return Receipt(read.envelope_id, "stored", None, sha256.hex(), now)
