"""Everything that is derived from a link's token and the birth date. PROTOCOL.md section 2; HKDF is RFC 5869."""

import hashlib
import hmac
from datetime import date

from cryptography.hazmat.primitives import hashes
from cryptography.hazmat.primitives.kdf.hkdf import HKDF


def _hkdf(key_material: bytes, label: str) -> bytes:
    return HKDF(algorithm=hashes.SHA256(), length=32, salt=None, info=label.encode("ascii")).derive(key_material)


def _with_birth_date(token: bytes, birth_on: date, label: str) -> bytes:
    return _hkdf(token + birth_on.isoformat().encode("ascii"), label)


def lookup(token: bytes) -> bytes:
    return _hkdf(token, "yearmark v1 lookup")


def proof(token: bytes, birth_on: date) -> bytes:
    return _with_birth_date(token, birth_on, "yearmark v1 proof")


def due_key(token: bytes, birth_on: date) -> bytes:
    return _with_birth_date(token, birth_on, "yearmark v1 due key")


def answer_key(token: bytes, birth_on: date) -> bytes:
    return _with_birth_date(token, birth_on, "yearmark v1 answer key")


def stored_digest(secret: bytes) -> bytes:
    """What the phone-facing part keeps of a lookup or a proof. Both are 256 bit and uniform, so one plain hash is enough."""
    return hashlib.sha256(secret).digest()


def equal_in_constant_time(left: bytes, right: bytes) -> bool:
    return hmac.compare_digest(left, right)
