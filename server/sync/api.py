"""The two routes a phone talks to. No private key is reachable from here, and no due sheet can be read."""

from collections.abc import Callable
from datetime import UTC, datetime
from typing import Any

from flask.views import MethodView
from flask_smorest import Blueprint

from server.crypto.encoding import EncodingProblem, b64u, unb64u
from server.models import Gate, GateFetch
from server.models.store import Store
from server.sync.gate import prove
from server.sync.receive import Posted, Receipt, receive
from server.sync.schemas import DueAnswer, DueRequest, EnvelopesAnswer, EnvelopesRequest, Refusal

Now = Callable[[], datetime]
CHECK = ({"code": "check"}, 403)


def wire_instant(at: datetime) -> str:
    return at.astimezone(UTC).isoformat(timespec="milliseconds").replace("+00:00", "Z")


def make_sync(store: Store, now: Now) -> Blueprint:
    """The phone-facing part, from a store and a clock alone."""
    phones = Blueprint("phones", __name__, url_prefix="/api", description="What a phone talks to; see PROTOCOL.md.")

    @phones.route("/due")
    class Due(MethodView):
        @phones.arguments(DueRequest)
        @phones.response(200, DueAnswer)
        @phones.alt_response(403, schema=Refusal, description="the one answer before a right proof")
        def post(self, asked: dict[str, str]) -> Any:
            """Opens what a link has due."""
            return _due(store, asked, now())

    @phones.route("/envelopes")
    class Envelopes(MethodView):
        @phones.arguments(EnvelopesRequest)
        @phones.response(200, EnvelopesAnswer)
        def post(self, sent: dict[str, list[dict[str, str]]]) -> Any:
            """Takes sealed forms in, unread; one receipt each."""
            posted = [Posted(each["envelope"], each["proof"]) for each in sent["envelopes"]]
            return {"receipts": [_written(receipt) for receipt in receive(store, posted, now=now())]}

    return phones


def _due(store: Store, asked: dict[str, str], now: datetime) -> Any:
    try:
        lookup, proof = unb64u(asked["lookup"]), unb64u(asked["proof"])
    except EncodingProblem:
        return CHECK
    with store.writing() as session:
        proven = prove(session, lookup, proof, now=now)
        if proven is None or not proven.current:
            answer: Any = CHECK
        else:
            gate = proven.gate
            if session.get(GateFetch, (gate.lookup_hash, gate.revision)) is None:
                session.add(GateFetch(lookup_hash=gate.lookup_hash, revision=gate.revision, fetched_at=now))
            answer = {"state": gate.state, "sheet": _sheet(gate), "server_time": wire_instant(now)}
    return answer


def _sheet(gate: Gate) -> dict[str, Any] | None:
    if gate.nonce is None or gate.ciphertext is None:
        return None
    return {"revision": gate.revision, "nonce": b64u(gate.nonce), "ciphertext": b64u(gate.ciphertext)}


def _written(receipt: Receipt) -> dict[str, Any]:
    return {
        "envelope_id": receipt.envelope_id,
        "status": receipt.status,
        "reason": receipt.reason,
        "sha256": receipt.sha256,
        "received_at": wire_instant(receipt.received_at),
    }
