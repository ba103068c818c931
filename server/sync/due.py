"""What a phone gets for a right proof: the state of its link and the sealed due sheet. PROTOCOL.md section 3."""

from datetime import UTC, datetime
from typing import Any

from server.crypto.encoding import EncodingProblem, b64u, unb64u
from server.models import Gate, GateFetch
from server.queries.restored import last_restored_at
from server.store.engine import Store
from server.sync.gate import Gates


def wire_instant(at: datetime) -> str:
    return at.astimezone(UTC).isoformat(timespec="milliseconds").replace("+00:00", "Z")


def of_restore(restored_at: datetime | None) -> dict[str, str | None]:
    """The member by which a phone knows which records the clinic has; null is a name too. Who is to hear nothing gets no such member."""
    return {"restored_at": None if restored_at is None else wire_instant(restored_at)}


def fetch_due(store: Store, *, lookup: str, proof: str, now: datetime) -> dict[str, Any] | None:
    """The answer as it goes over the wire, `lookup` and `proof` being base64url. None for anything but a right, current proof."""
    try:
        known, secret = unb64u(lookup), unb64u(proof)
    except EncodingProblem:
        return None
    with store.writing() as session:
        proven = Gates(session, [known], now=now).prove(known, secret)
        if proven is None or not proven.current:
            return None
        gate = proven.gate
        if session.get(GateFetch, (gate.lookup_hash, gate.revision)) is None:
            session.add(GateFetch(lookup_hash=gate.lookup_hash, revision=gate.revision, fetched_at=now))
        answer = {"state": gate.state, "sheet": _sheet(gate), "server_time": wire_instant(now)}
        return {**answer, **of_restore(last_restored_at(session))} if proven.hears_of_restores else answer


def _sheet(gate: Gate) -> dict[str, Any] | None:
    if gate.nonce is None or gate.ciphertext is None:
        return None
    return {"revision": gate.revision, "nonce": b64u(gate.nonce), "ciphertext": b64u(gate.ciphertext)}
