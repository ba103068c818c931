"""Seals a due sheet for one link. PROTOCOL.md section 3."""

import secrets
from dataclasses import dataclass

from cryptography.exceptions import InvalidTag
from cryptography.hazmat.primitives.ciphers.aead import AESGCM

NONCE_BYTES = 12


class SheetProblem(ValueError):
    """The sheet does not open: wrong key, other link, other revision, or altered."""


@dataclass(frozen=True)
class SealedSheet:
    revision: int
    nonce: bytes
    ciphertext: bytes


def _aad(lookup: bytes, revision: int) -> bytes:
    return b"yearmark v1 due sheet\x00" + lookup + revision.to_bytes(8)


def seal_sheet(
    due_key: bytes, lookup: bytes, revision: int, plain: bytes, *, nonce: bytes | None = None
) -> SealedSheet:
    """`nonce` is for test vectors; a sheet that is sent always takes a fresh random one."""
    fresh = nonce or secrets.token_bytes(NONCE_BYTES)
    return SealedSheet(revision, fresh, AESGCM(due_key).encrypt(fresh, plain, _aad(lookup, revision)))


def open_sheet(due_key: bytes, lookup: bytes, sheet: SealedSheet) -> bytes:
    if len(sheet.nonce) != NONCE_BYTES:
        raise SheetProblem("nonce")
    try:
        return AESGCM(due_key).decrypt(sheet.nonce, sheet.ciphertext, _aad(lookup, sheet.revision))
    except InvalidTag as problem:
        raise SheetProblem("not opened") from problem
