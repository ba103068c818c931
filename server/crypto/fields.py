"""Ciphers for what lies in the database: a ring of field keys, and a key of each patient's own. AES-256-GCM.

A sealed field is  key id (8 ASCII characters) ‖ nonce (12) ‖ ciphertext and tag; the AAD is key id ‖ 0x00 ‖ context, where the context
names table and column, so that a value moved to another column does not open.
"""

import secrets
from collections.abc import Mapping
from dataclasses import dataclass

from cryptography.exceptions import InvalidTag
from cryptography.hazmat.primitives.ciphers.aead import AESGCM

KEY_ID_BYTES = 8
NONCE_BYTES = 12


class FieldProblem(ValueError):
    """A stored field does not open: the key is not here, or the value was altered or moved."""


@dataclass(frozen=True)
class FieldRing:
    """`keys` by id (8 ASCII characters); new values are sealed under `current`."""

    keys: Mapping[str, bytes]
    current: str

    def seal(self, plain: bytes, context: str) -> bytes:
        if not self.current:
            raise FieldProblem("there is no field key; the key folder is empty")
        key_id, nonce = self.current.encode("ascii"), secrets.token_bytes(NONCE_BYTES)
        aad = key_id + b"\x00" + context.encode("utf-8")
        return key_id + nonce + AESGCM(self.keys[self.current]).encrypt(nonce, plain, aad)

    def open(self, sealed: bytes, context: str) -> bytes:
        key_id, nonce = sealed[:KEY_ID_BYTES], sealed[KEY_ID_BYTES : KEY_ID_BYTES + NONCE_BYTES]
        key = self.keys.get(key_id.decode("ascii", "replace"))
        if key is None:
            raise FieldProblem(f"no field key {key_id!r} in the key folder")
        try:
            aad = key_id + b"\x00" + context.encode("utf-8")
            return AESGCM(key).decrypt(nonce, sealed[KEY_ID_BYTES + NONCE_BYTES :], aad)
        except (InvalidTag, ValueError) as problem:
            raise FieldProblem(f"a value of {context} does not open") from problem


@dataclass(frozen=True)
class PatientCipher:
    """Seals answers and opened envelopes under one patient's key; without the key they are noise."""

    key: bytes

    def seal(self, plain: bytes, context: str) -> bytes:
        nonce = secrets.token_bytes(NONCE_BYTES)
        return nonce + AESGCM(self.key).encrypt(nonce, plain, context.encode("utf-8"))

    def open(self, sealed: bytes, context: str) -> bytes:
        try:
            return AESGCM(self.key).decrypt(sealed[:NONCE_BYTES], sealed[NONCE_BYTES:], context.encode("utf-8"))
        except (InvalidTag, ValueError) as problem:
            raise FieldProblem(f"{context} does not open under this patient's key") from problem
