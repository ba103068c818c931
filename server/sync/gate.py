"""Who may fetch and who may upload: the tries, the lock and the one answer before a right proof.

Only hashes are compared. Nothing here can read a due sheet or an envelope.
"""

from dataclasses import dataclass
from datetime import datetime

from sqlalchemy import select
from sqlalchemy.orm import Session

from server.crypto.derive import kept_hash, same
from server.models import Gate, GateProof, GateTries

TRIES = 5


@dataclass(frozen=True)
class Proven:
    """`current` is false for a proof from before a corrected birth date: it uploads, and fetches nothing."""

    gate: Gate
    current: bool


def prove(session: Session, lookup: bytes, proof: bytes, *, now: datetime) -> Proven | None:
    """None for an unknown link, a wrong proof and a locked patient alike. Counts the wrong ones, across links of a patient.

    Five wrong in a row lock; only the clinic unlocks, since a lock that opens by itself would let a thief go on guessing.
    """
    lookup_hash, proof_hash = kept_hash(lookup), kept_hash(proof)
    gate = session.get(Gate, lookup_hash)
    proofs = list(session.scalars(select(GateProof).where(GateProof.lookup_hash == lookup_hash)))
    right = [row for row in proofs if same(row.proof_hash, proof_hash)]
    tries = session.get(GateTries, gate.handle if gate else "")
    if gate is None:
        return None
    if tries is not None and tries.locked_at is not None:
        return None
    if not right:
        _count_failure(session, gate.handle, tries, now)
        return None
    if tries is not None:
        tries.failures = 0
    return Proven(gate, current=any(row.current for row in right))


def _count_failure(session: Session, handle: str, tries: GateTries | None, now: datetime) -> None:
    if tries is None:
        tries = GateTries(handle=handle, failures=0, last_failure_at=now)
        session.add(tries)
    tries.failures += 1
    tries.last_failure_at = now
    if tries.failures >= TRIES:
        tries.locked_at = now
