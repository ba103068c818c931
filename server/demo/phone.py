"""An invented patient's phone: the same protocol as the real one (server/sync/PROTOCOL.md), without a screen and without a network."""

import uuid
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date, datetime
from typing import Any

from cryptography.hazmat.primitives.asymmetric import ec

from scoring.strict_json import load_strict_json
from server.crypto import derive
from server.crypto.encoding import b64u, compact_json, unb64u
from server.crypto.envelope import Header, seal_envelope
from server.crypto.sheet import SealedSheet, open_sheet
from server.crypto.token import read_token
from server.forms.asked import AskedPart
from server.store.engine import Store
from server.sync.due import fetch_due
from server.sync.receive import Posted, receive


@dataclass(frozen=True)
class OpenedForm:
    """One form of a due sheet, as the phone keeps it until it is sent."""

    form: Mapping[str, Any]
    sheet: Mapping[str, Any]
    opened_at: datetime

    @property
    def asked(self) -> list[AskedPart]:
        return [AskedPart(part["instrument"], tuple(part["items"])) for part in self.form["parts"]]

    @property
    def text_ids(self) -> dict[str, str]:
        """By instrument, the text in the patient's language."""
        language = self.sheet["patient"]["language"]
        return {spec: texts[language]["text_id"] for spec, texts in self.sheet["texts"].items()}


class Phone:
    """A link's token and the birth date that was typed in."""

    def __init__(self, store: Store, token: str, born_on: date) -> None:
        raw = read_token(token)
        self._store = store
        self._lookup = derive.lookup(raw)
        self._proof = b64u(derive.proof(raw, born_on))
        self._due_key = derive.due_key(raw, born_on)
        self.answer_key = derive.answer_key(raw, born_on)

    def fetch(self, at: datetime) -> dict[str, Any] | None:
        """The opened due sheet; None when the proof is refused or nothing was ever due."""
        answer = fetch_due(self._store, lookup=b64u(self._lookup), proof=self._proof, now=at)
        if answer is None or answer["sheet"] is None:
            return None
        sealed = answer["sheet"]
        sheet = SealedSheet(sealed["revision"], unb64u(sealed["nonce"]), unb64u(sealed["ciphertext"]))
        opened: dict[str, Any] = load_strict_json(open_sheet(self._due_key, self._lookup, sheet))
        return opened

    def open_forms(self, at: datetime) -> list[OpenedForm]:
        sheet = self.fetch(at)
        return [OpenedForm(form, sheet, at) for form in sheet["forms"]] if sheet else []

    def seal(self, payload: Mapping[str, Any], sheet: Mapping[str, Any], *, answer_key: bytes | None = None) -> str:
        """The text of an envelope to the clinic whose key the sheet names."""
        public = sheet["public_key"]
        point = ec.EllipticCurvePublicKey.from_encoded_point(ec.SECP256R1(), unb64u(public["point"]))
        header = Header(public["key_id"], uuid.uuid4(), self._lookup)
        return seal_envelope(header, point, answer_key or self.answer_key, compact_json(payload)).text

    def send(self, envelope: str, at: datetime) -> None:
        """Posts one envelope. Raises RuntimeError unless the receipt says `stored`, for then a real phone would keep it."""
        (receipt,) = receive(self._store, [Posted(envelope, self._proof)], now=at)
        if receipt.status != "stored":
            raise RuntimeError(f"an invented envelope was not stored: {receipt.status} {receipt.reason}")
