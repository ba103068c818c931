"""A client written from server/sync/PROTOCOL.md alone, sharing no code with the server: for tests, as a stranger would write one."""

import base64
import hashlib
import hmac
import json
import uuid
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from datetime import UTC, date, datetime, timedelta
from typing import Any, NamedTuple

from cryptography.hazmat.primitives import hashes
from cryptography.hazmat.primitives.ciphers.aead import AESGCM
from cryptography.hazmat.primitives.kdf.hkdf import HKDF
from pyhpke import AEADId, CipherSuite, KDFId, KEMId


class Reply(NamedTuple):
    """What came over the wire: HTTP status, JSON body and the header Retry-After."""

    status: int
    body: Any
    retry_after: str | None = None


Post = Callable[[str, Any], Reply]
BASE32 = "ABCDEFGHIJKLMNOPQRSTUVWXYZ234567"
HPKE = CipherSuite.new(KEMId.DHKEM_P256_HKDF_SHA256, KDFId.HKDF_SHA256, AEADId.AES256_GCM)


def b64u(data: bytes) -> str:
    return base64.urlsafe_b64encode(data).decode().rstrip("=")


def unb64u(text: str) -> bytes:
    return base64.urlsafe_b64decode(text + "=" * (-len(text) % 4))


def token_bytes(token: str) -> bytes:
    value = 0
    for character in token[:26]:
        value = value * 32 + BASE32.index(character)
    return (value >> 2).to_bytes(16)


def hkdf(key_material: bytes, label: str) -> bytes:
    return HKDF(hashes.SHA256(), 32, salt=None, info=label.encode()).derive(key_material)


def wire_instant(at: datetime) -> str:
    return at.astimezone(UTC).isoformat(timespec="milliseconds").replace("+00:00", "Z")


def skew_ms(asked: datetime, heard: datetime, server_time: str) -> int:
    """Phone time minus server time, as far as it is sure: latency may be all of what lies between `asked` and `heard`."""
    server = datetime.fromisoformat(server_time)
    if asked <= server <= heard:
        return 0
    return ((asked if server < asked else heard) - server) // timedelta(milliseconds=1)


@dataclass
class Stranger:
    """One phone with one link and a birth date. `post` takes a path and a JSON body; without a `clock` no skew is measured."""

    token: str
    born: date
    post: Post
    sheet: dict[str, Any] = field(default_factory=dict)
    clock: Callable[[], datetime] | None = None
    clock_skew_ms: int | None = None

    @property
    def lookup(self) -> bytes:
        return hkdf(token_bytes(self.token), "yearmark v1 lookup")

    def derived(self, name: str) -> bytes:
        return hkdf(token_bytes(self.token) + self.born.isoformat().encode(), f"yearmark v1 {name}")

    def fetch(self) -> tuple[int, Any]:
        """Status and body of /api/due; the opened sheet lies in `sheet` afterwards."""
        reply = self.ask_due()
        return reply.status, reply.body

    def ask_due(self) -> Reply:
        asked = self.clock() if self.clock else None
        reply = self.post("/api/due", {"lookup": b64u(self.lookup), "proof": b64u(self.derived("proof"))})
        if reply.status != 200:
            return reply
        if self.clock and asked:
            self.clock_skew_ms = skew_ms(asked, self.clock(), reply.body["server_time"])
        sealed = reply.body["sheet"]
        if sealed is not None:
            aad = b"yearmark v1 due sheet\x00" + self.lookup + sealed["revision"].to_bytes(8)
            plain = AESGCM(self.derived("due key")).decrypt(unb64u(sealed["nonce"]), unb64u(sealed["ciphertext"]), aad)
            self.sheet = json.loads(plain)
        return reply

    def payload(self, form: dict[str, Any], choose: Callable[[dict[str, Any]], Any], at: datetime) -> dict[str, Any]:
        """A finished form. `choose` gives the value of an item, None to decline it."""
        instant = wire_instant(at)
        return {
            "format": 1,
            "form_id": form["form_id"],
            "sheet_revision": self.sheet["revision"],
            "language": self.sheet["patient"]["language"],
            "build": "stranger",
            "opened_at": instant,
            "finished_at": instant,
            "utc_offset_minutes": 0,
            "time_zone": None,
            "clock_skew_ms": self.clock_skew_ms,
            "mode": "own_phone",
            "answered_by": "patient",
            "device": {"screen": "360x640", "browser": "none"},
            "parts": [self._part(part, choose, instant) for part in form["parts"]],
        }

    def notice(self, notice: str, at: datetime, **changes: Any) -> dict[str, Any]:
        """Something said beside the answers of a form, on the list unless `changes` say otherwise."""
        return {
            "format": 1,
            "kind": "notice",
            "notice": notice,
            "form_id": None,
            "true_side": None,
            "sheet_revision": self.sheet["revision"],
            "language": self.sheet["patient"]["language"],
            "build": "stranger",
            "noticed_at": wire_instant(at),
            "utc_offset_minutes": 0,
            "time_zone": None,
            "clock_skew_ms": self.clock_skew_ms,
            **changes,
        }

    def _part(self, part: dict[str, Any], choose: Callable[[dict[str, Any]], Any], instant: str) -> dict[str, Any]:
        definition = self.sheet["instruments"][part["instrument"]]
        text = self.sheet["texts"][part["instrument"]][self.sheet["patient"]["language"]]
        answers: dict[str, Any] = {}
        for item in definition["items"]:
            if item["item"] not in part["items"]:
                continue
            asked_if = item.get("asked_if")
            if asked_if and answers.get(asked_if["item"], {}).get("value") not in asked_if["codes"]:
                answers[item["item"]] = {"state": "skipped"}
                continue
            value = choose({"instrument": part["instrument"], **item})
            answers[item["item"]] = (
                {"state": "declined"}
                if value is None
                else {"state": "answered", "value": value, "first_at": instant, "last_at": instant}
            )
        return {"instrument": part["instrument"], "text_id": text["text_id"], "answers": answers}

    def seal(self, payload: dict[str, Any] | bytes, **changes: Any) -> str:
        """The envelope text. `changes` replace header members or, as `answer_key`, the key."""
        answer_key = changes.pop("answer_key", self.derived("answer key"))
        public = self.sheet["public_key"]
        header = {"v": 1, "suite": public["suite"], "key_id": public["key_id"], "envelope_id": str(uuid.uuid4())}
        header |= {"lookup": b64u(self.lookup), **changes}
        head = json.dumps(header).encode()
        data = payload if isinstance(payload, bytes) else json.dumps(payload).encode()
        mac = hmac.digest(answer_key, b"yearmark v1 answers\x00" + hashlib.sha256(head).digest() + data, "sha256")
        point = HPKE.kem.deserialize_public_key(unb64u(public["point"]))
        enc, context = HPKE.create_sender_context(point, info=b"yearmark v1 envelope\x00" + head)
        return f"{b64u(head)}.{b64u(enc + context.seal(mac + data))}"

    def send(self, *envelopes: str) -> list[dict[str, Any]]:
        """The receipts."""
        reply = self.upload(envelopes)
        assert reply.status == 200, reply.body
        return list(reply.body["receipts"])

    def upload(self, envelopes: Sequence[str]) -> Reply:
        proof = b64u(self.derived("proof"))
        return self.post("/api/envelopes", {"envelopes": [{"envelope": text, "proof": proof} for text in envelopes]})


def best(item: dict[str, Any]) -> Any:
    """Answers every item with the best or first value it has, and without a warning; texts stay declined."""
    if item["type"] == "choice":
        return next(code for code in item["codes"] if code not in item.get("warning", []))
    if item["type"] in ("scale", "integer"):
        return item["min"]
    return "2026-01" if item["type"] == "month" else None
