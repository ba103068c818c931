"""A passkey in software, made from the WebAuthn specification alone: what a browser would send for a page's options."""

import base64
import hashlib
import json
import secrets
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

import cbor2
from cryptography.hazmat.primitives.asymmetric import ec
from cryptography.hazmat.primitives.hashes import SHA256

PRESENT, HOLDS_KEY = 0x01, 0x40  # flags of the authenticator data, section 6.1


def plain(data: bytes) -> str:
    return base64.urlsafe_b64encode(data).rstrip(b"=").decode("ascii")


@dataclass
class SoftKey:
    origin: str = "https://localhost"
    host: str = "localhost"
    count: int = 0
    id: bytes = field(default_factory=lambda: secrets.token_bytes(16))
    key: ec.EllipticCurvePrivateKey = field(default_factory=lambda: ec.generate_private_key(ec.SECP256R1()))

    def make(self, options: str, form: str = "none", statement: Mapping[str, Any] | None = None) -> str:
        """Section 7.1: the answer to creation options, with an attestation that a test may make up."""
        numbers = self.key.public_key().public_numbers()
        coordinates = {-2: numbers.x.to_bytes(32, "big"), -3: numbers.y.to_bytes(32, "big")}
        public = cbor2.dumps({1: 2, 3: -7, -1: 1, **coordinates})  # a P-256 key for ES256, RFC 9053
        holds = bytes(16) + len(self.id).to_bytes(2, "big") + self.id + public
        data = self._data(PRESENT | HOLDS_KEY) + holds
        sealed = cbor2.dumps({"fmt": form, "attStmt": statement or {}, "authData": data})
        client = self._client("webauthn.create", options)
        return self._answer({"clientDataJSON": plain(client), "attestationObject": plain(sealed)})

    def sign(self, options: str) -> str:
        """Section 7.2: the answer to request options."""
        self.count += 1
        data, client = self._data(PRESENT), self._client("webauthn.get", options)
        signed = self.key.sign(data + hashlib.sha256(client).digest(), ec.ECDSA(SHA256()))
        given = {"clientDataJSON": plain(client), "authenticatorData": plain(data), "signature": plain(signed)}
        return self._answer(given)

    def _data(self, flags: int) -> bytes:
        return hashlib.sha256(self.host.encode()).digest() + bytes([flags]) + self.count.to_bytes(4, "big")

    def _client(self, kind: str, options: str) -> bytes:
        asked = {"type": kind, "challenge": json.loads(options)["challenge"], "origin": self.origin}
        return json.dumps({**asked, "crossOrigin": False}).encode()

    def _answer(self, response: dict[str, str]) -> str:
        answer: dict[str, Any] = {"id": plain(self.id), "rawId": plain(self.id), "type": "public-key"}
        return json.dumps({**answer, "response": response, "clientExtensionResults": {}})
