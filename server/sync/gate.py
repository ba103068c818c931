"""Who may fetch and who may upload: the tries, the lock and the one answer before a right proof.

Only hashes are compared. Nothing here can read a due sheet or an envelope.
"""

from collections import defaultdict
from collections.abc import Collection
from dataclasses import dataclass
from datetime import datetime

from sqlalchemy import bindparam, select
from sqlalchemy.orm import Session

from server.crypto.derive import equal_in_constant_time, stored_digest
from server.models import Gate, GateProof, GateTries

TRIES = 5
UNKNOWN = ""  # the handle under which unknown links are counted
# Asked at each call of a phone, and so put together once.
_KNOWN = (
    select(Gate, GateProof.proof_hash, GateProof.current)
    .outerjoin(GateProof, GateProof.lookup_hash == Gate.lookup_hash)
    .where(Gate.lookup_hash.in_(bindparam("links", expanding=True)))
)
# Locked, in one order, where the database has row locks: two wrong proofs at one moment are two.
_TRIES = (
    select(GateTries)
    .where(GateTries.handle.in_(bindparam("handles", expanding=True)))
    .order_by(GateTries.handle)
    .with_for_update()
)


@dataclass(frozen=True)
class Proven:
    """`current` is false for a proof from before a corrected birth date: it uploads, and fetches nothing."""

    gate: Gate
    current: bool

    @property
    def hears_of_restores(self) -> bool:
        """Whoever lost a link, or found one, has no business with what becomes of the clinic's records."""
        return self.current and self.gate.state in ("due", "nothing_due")


class Gates:
    """The gates, proofs and tries of some links, loaded at once; `prove` then asks the database no more."""

    def __init__(self, session: Session, lookups: Collection[bytes], *, now: datetime) -> None:
        self._session, self._now = session, now
        hashes = {stored_digest(lookup) for lookup in lookups}
        self._gates: dict[bytes, Gate] = {}
        self._proofs: dict[bytes, list[tuple[bytes, bool]]] = defaultdict(list)
        for gate, proof_hash, current in session.execute(_KNOWN, {"links": list(hashes)}):
            self._gates[gate.lookup_hash] = gate
            if proof_hash is not None:
                self._proofs[gate.lookup_hash].append((proof_hash, current))
        handles = {gate.handle for gate in self._gates.values()} | {UNKNOWN}
        self._tries = {row.handle: row for row in session.scalars(_TRIES, {"handles": list(handles)})}

    def prove(self, lookup: bytes, proof: bytes) -> Proven | None:
        """None for an unknown link, a wrong proof and a locked patient alike. Counts the wrong ones, across links of a patient.

        Five wrong in a row lock; only the clinic unlocks, since a lock that opens by itself would let a thief go on guessing.
        """
        lookup_hash, proof_hash = stored_digest(lookup), stored_digest(proof)
        gate = self._gates.get(lookup_hash)
        right = [current for known, current in self._proofs[lookup_hash] if equal_in_constant_time(known, proof_hash)]
        tries = self._tries.get(gate.handle if gate else UNKNOWN)
        if gate is None or tries is None or tries.locked_at is not None or not right:
            self._count_failure(tries)
            return None
        if tries.failures:
            tries.failures = 0
        return Proven(gate, current=any(right))

    def _count_failure(self, tries: GateTries | None) -> None:
        """Every refusal writes one row, an unknown or locked link too, so that they take the same time."""
        if tries is None:
            tries = GateTries(handle=UNKNOWN, failures=0)
            self._tries[UNKNOWN] = tries
            self._session.add(tries)
        tries.failures += 1
        tries.last_failure_at = self._now
        if tries.failures >= TRIES and tries.handle != UNKNOWN and tries.locked_at is None:
            tries.locked_at = self._now
