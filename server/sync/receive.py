"""Takes envelopes in, unread. PROTOCOL.md section 5.

1. The clear header is parsed; what is malformed or too large is refused.
2. The proof is checked; a wrong one is refused.
3. The bytes are committed; only then a receipt says `stored`.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime

from sqlalchemy import select
from sqlalchemy.orm import Session

from server.crypto.encoding import unb64u
from server.crypto.envelope import Envelope as Sealed
from server.crypto.envelope import EnvelopeProblem, parse_envelope
from server.models import Envelope
from server.models.store import Store
from server.sync.gate import prove

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


def receive(store: Store, posted: Sequence[Posted], *, now: datetime) -> list[Receipt]:
    """One receipt an envelope, in order. All are committed together before any receipt exists."""
    with store.writing() as session:
        return [_receive_one(session, each, now) for each in posted]


def _receive_one(session: Session, posted: Posted, now: datetime) -> Receipt:
    try:
        sealed = parse_envelope(posted.envelope)
        proof = unb64u(posted.proof)
    except EnvelopeProblem as problem:
        return Receipt(None, "refused", problem.reason, None, now)
    except ValueError:
        return Receipt(None, "refused", "malformed", None, now)
    proven = prove(session, sealed.header.lookup, proof, now=now)
    if proven is None:
        return Receipt(str(sealed.header.envelope_id), "refused", "check", None, now)
    status = _keep(session, sealed, proven.gate.lookup_hash, now)
    return Receipt(str(sealed.header.envelope_id), status, None, sealed.sha256.hex(), now)


def _keep(session: Session, sealed: Sealed, lookup_hash: bytes, now: datetime) -> str:
    envelope_id = str(sealed.header.envelope_id)
    hashes = list(session.scalars(select(Envelope.sha256).where(Envelope.envelope_id == envelope_id)))
    if sealed.sha256 in hashes:
        return "duplicate"
    session.add(
        Envelope(
            envelope_id=envelope_id,
            sha256=sealed.sha256,
            lookup_hash=lookup_hash,
            key_id=sealed.header.key_id,
            received_at=now,
            same_id_other_content=bool(hashes),
            body=sealed.text.encode("ascii"),
            state="received",
        )
    )
    session.flush()
    return "stored"
