"""The envelope: parse, seal, open. PROTOCOL.md section 4; HPKE is RFC 9180, base mode.

Parsing needs no key and is what the phone-facing part uses. Opening needs the clinic's private key and the link's answer key.
"""

import hashlib
import hmac
import re
import uuid
from collections.abc import Iterable
from dataclasses import dataclass

from cryptography.exceptions import InvalidTag
from cryptography.hazmat.primitives.asymmetric import ec
from cryptography.hazmat.primitives.hpke import AEAD, KDF, KEM, Suite
from cryptography.hazmat.primitives.serialization import Encoding, PublicFormat

from scoring.strict_json import load_strict_json
from server.crypto.encoding import EncodingProblem, b64u, compact_json, unb64u

SUITE_ID = "0010-0001-0002"
SUITE = Suite(KEM.P256, KDF.HKDF_SHA256, AEAD.AES_256_GCM)
ENC_BYTES = 65
MAC_BYTES = 32
TAG_BYTES = 16
LONGEST = 262_144
_KEY_ID = re.compile(r"[A-Za-z0-9-]{1,64}")
_MEMBERS = {"v", "suite", "key_id", "envelope_id", "lookup"}


class EnvelopeProblem(ValueError):
    """`reason` is one of the words of PROTOCOL.md section 5."""

    def __init__(self, reason: str) -> None:
        super().__init__(reason)
        self.reason = reason


@dataclass(frozen=True)
class Header:
    key_id: str
    envelope_id: uuid.UUID
    lookup: bytes

    def written(self) -> bytes:
        return compact_json(
            {
                "v": 1,
                "suite": SUITE_ID,
                "key_id": self.key_id,
                "envelope_id": str(self.envelope_id),
                "lookup": b64u(self.lookup),
            }
        )


@dataclass(frozen=True)
class Envelope:
    text: str
    header: Header
    header_bytes: bytes
    sealed: bytes

    @property
    def sha256(self) -> bytes:
        return hashlib.sha256(self.text.encode("ascii")).digest()


def _read_header(data: bytes) -> Header:
    members = load_strict_json(data)
    if not isinstance(members, dict) or set(members) != _MEMBERS:
        raise EncodingProblem("header members")
    if type(members["v"]) is not int or members["v"] != 1 or members["suite"] != SUITE_ID:  # neither 1.0 nor true
        raise EncodingProblem("version or suite")
    if not all(isinstance(members[name], str) for name in ("key_id", "envelope_id", "lookup")):
        raise EncodingProblem("header types")
    envelope_id, lookup = uuid.UUID(members["envelope_id"]), unb64u(members["lookup"])
    if str(envelope_id) != members["envelope_id"] or len(lookup) != 32 or not _KEY_ID.fullmatch(members["key_id"]):
        raise EncodingProblem("header values")
    return Header(members["key_id"], envelope_id, lookup)


def parse_envelope(text: str) -> Envelope:
    """Reads the clear header. Raises EnvelopeProblem `too_large` or `malformed`; never touches a key."""
    if len(text) > LONGEST:
        raise EnvelopeProblem("too_large")
    try:
        header_text, sealed_text = text.split(".")
        header_bytes, sealed = unb64u(header_text), unb64u(sealed_text)
        header = _read_header(header_bytes)
    except ValueError as problem:
        raise EnvelopeProblem("malformed") from problem
    if len(sealed) < ENC_BYTES + MAC_BYTES + TAG_BYTES:
        raise EnvelopeProblem("malformed")
    return Envelope(text, header, header_bytes, sealed)


def _info(header_bytes: bytes) -> bytes:
    return b"yearmark v1 envelope\x00" + header_bytes


def answer_mac(answer_key: bytes, header_bytes: bytes, payload: bytes) -> bytes:
    bound = b"yearmark v1 answers\x00" + hashlib.sha256(header_bytes).digest() + payload
    return hmac.digest(answer_key, bound, "sha256")


def public_point(key: ec.EllipticCurvePublicKey) -> bytes:
    return key.public_bytes(Encoding.X962, PublicFormat.UncompressedPoint)


def seal_envelope(header: Header, public_key: ec.EllipticCurvePublicKey, answer_key: bytes, payload: bytes) -> Envelope:
    """What a phone does; the server uses it for the demo's invented answers and in tests."""
    header_bytes = header.written()
    plain = answer_mac(answer_key, header_bytes, payload) + payload
    sealed = SUITE.encrypt(plain, public_key, _info(header_bytes))
    return Envelope(f"{b64u(header_bytes)}.{b64u(sealed)}", header, header_bytes, sealed)


def open_envelope(envelope: Envelope, private_key: ec.EllipticCurvePrivateKey, answer_keys: Iterable[bytes]) -> bytes:
    """The payload bytes.

    `answer_keys` are those of the link, the current birth date first, then earlier ones.
    Raises EnvelopeProblem `not_opened` (truncated, altered, other key) or `wrong_answer_key`.
    """
    try:
        plain = SUITE.decrypt(envelope.sealed, private_key, _info(envelope.header_bytes))
    except (InvalidTag, ValueError) as problem:
        raise EnvelopeProblem("not_opened") from problem
    mac, payload = plain[:MAC_BYTES], plain[MAC_BYTES:]
    for answer_key in answer_keys:
        if hmac.compare_digest(mac, answer_mac(answer_key, envelope.header_bytes, payload)):
            return payload
    raise EnvelopeProblem("wrong_answer_key")
