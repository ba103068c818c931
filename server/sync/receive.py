"""Stores envelopes unread. PROTOCOL.md section 5.

1. The clear header is parsed; what is malformed or too large is refused.
2. The proof is checked; a wrong one is refused.
3. The bytes are committed; only then a receipt says `stored`.
"""

from collections import Counter, defaultdict
from collections.abc import Container, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any

from sqlalchemy import func, select
from sqlalchemy.orm import Session

from server.crypto.derive import stored_digest
from server.crypto.encoding import unb64u
from server.crypto.envelope import Envelope as Sealed
from server.crypto.envelope import EnvelopeProblem, parse_envelope
from server.models import Envelope
from server.queries.restored import last_restored_at
from server.store.bulk import insert_rows
from server.store.engine import Store
from server.sync.gate import Gates

MOST_IN_ONE_POST = 20
# Of one link within a day. Two shoulders have at most two forms due at a time and a few notices; somebody who answers each anew on five
# phones sends thirty. Two hundred of the largest are 50 MB, which a disk bears until a person has looked.
MOST_A_DAY = 200
DAY = timedelta(days=1)


class QuotaReached(Exception):
    """A link would have stored more than MOST_A_DAY; of that link nothing was stored."""


@dataclass(frozen=True)
class Posted:
    """As a phone sends it: the envelope's text, and the proof as base64url."""

    envelope: str
    proof: str


@dataclass(frozen=True)
class Receipt:
    envelope_id: str | None
    status: str  # stored, duplicate, refused
    reason: str | None
    sha256: str | None  # hexadecimal
    received_at: datetime
    hears_of_restores: bool = False  # else the next one says nothing
    restored_at: datetime | None = None  # of the last restore before it was received; None where there was none


@dataclass(frozen=True)
class Parsed:
    """An envelope whose clear header could be read, and its proof."""

    sealed: Sealed
    proof: bytes

    @property
    def envelope_id(self) -> str:
        return str(self.sealed.header.envelope_id)


def receive(store: Store, posted: Sequence[Posted], *, now: datetime) -> list[Receipt]:
    """One receipt an envelope, in order. All are committed together before any receipt exists. Raises QuotaReached."""
    results = [_parse(each, now) for each in posted]
    with store.writing() as session:
        receipts = _store_all(session, results, now)
    if receipts is None:  # raised only now, since tries with a wrong proof in the same post count all the same
        raise QuotaReached
    return receipts


def _parse(posted: Posted, now: datetime) -> Parsed | Receipt:
    """The receipt is that of a refusal."""
    try:
        return Parsed(parse_envelope(posted.envelope), unb64u(posted.proof))
    except EnvelopeProblem as problem:
        return Receipt(None, "refused", problem.reason, None, now)
    except ValueError:
        return Receipt(None, "refused", "malformed", None, now)


def _store_all(session: Session, results: Sequence[Parsed | Receipt], now: datetime) -> list[Receipt] | None:
    """None where a link would be over its quota; nothing more of that link is stored then."""
    parsed = [each for each in results if isinstance(each, Parsed)]
    gates = Gates(session, [each.sealed.header.lookup for each in parsed], now=now)
    stored = _stored_hashes(session, [each.envelope_id for each in parsed])
    restored_at = last_restored_at(session)
    rows: list[dict[str, Any]] = []
    receipts: list[Receipt] = []
    for each in results:
        if isinstance(each, Receipt):
            receipt = each
        else:
            receipt = _receipt(each, gates, stored[each.envelope_id], now, restored_at)
        receipts.append(receipt)
        if isinstance(each, Parsed) and receipt.status == "stored":
            # Also an id that came before with other bytes is stored; a person decides between the two.
            rows.append(_row(each, now, same_id_other_content=bool(stored[each.envelope_id])))
            stored[each.envelope_id].add(each.sealed.sha256)
    over = _over_quota(session, [row["lookup_hash"] for row in rows], now)
    # Another person's on the same phone is stored all the same; its receipt is the `duplicate` of the next try.
    insert_rows(session, Envelope, [row for row in rows if row["lookup_hash"] not in over])
    return None if over else receipts


def _over_quota(session: Session, new: Sequence[bytes], now: datetime) -> set[bytes]:
    """The links that may store no more today. `new`: the link of each envelope to be stored; all have shown a right proof."""
    counts = Counter(new)
    recent = select(Envelope.lookup_hash, func.count()).where(
        Envelope.lookup_hash.in_(counts), Envelope.received_at > now - DAY
    )
    for lookup_hash, stored in session.execute(recent.group_by(Envelope.lookup_hash)):
        counts[lookup_hash] += stored
    return {lookup_hash for lookup_hash, count in counts.items() if count > MOST_A_DAY}


def _stored_hashes(session: Session, ids: Sequence[str]) -> defaultdict[str, set[bytes]]:
    """By envelope id, of what was stored before."""
    stored: defaultdict[str, set[bytes]] = defaultdict(set)
    wanted = select(Envelope.envelope_id, Envelope.sha256).where(Envelope.envelope_id.in_(ids))
    for envelope_id, sha256 in session.execute(wanted):
        stored[envelope_id].add(sha256)
    return stored


def _receipt(
    parsed: Parsed, gates: Gates, stored: Container[bytes], now: datetime, restored_at: datetime | None
) -> Receipt:
    sha256 = parsed.sealed.sha256
    proven = gates.prove(parsed.sealed.header.lookup, parsed.proof)
    if proven is None:
        return Receipt(parsed.envelope_id, "refused", "check", None, now)
    status = "duplicate" if sha256 in stored else "stored"
    return Receipt(parsed.envelope_id, status, None, sha256.hex(), now, proven.hears_of_restores, restored_at)


def _row(parsed: Parsed, now: datetime, *, same_id_other_content: bool) -> dict[str, Any]:
    header = parsed.sealed.header
    return {
        "envelope_id": parsed.envelope_id,
        "sha256": parsed.sealed.sha256,
        "lookup_hash": stored_digest(header.lookup),
        "key_id": header.key_id,
        "received_at": now,
        "same_id_other_content": same_id_other_content,
        "body": parsed.sealed.text.encode("ascii"),
        "body_wrapped": False,
        "state": "received",
    }
