"""RFC 9180 base mode for DHKEM(P-256, HKDF-SHA256), HKDF-SHA256, AES-256-GCM, written plainly from the RFC's section 4 to 6.

A second implementation, only for tests: slow, obvious, checked against the official vectors.
"""

import hmac
from dataclasses import dataclass

from cryptography.hazmat.primitives.asymmetric import ec
from cryptography.hazmat.primitives.ciphers.aead import AESGCM
from cryptography.hazmat.primitives.serialization import Encoding, PublicFormat

KEM_ID, KDF_ID, AEAD_ID = 0x0010, 0x0001, 0x0002
HPKE_SUITE = b"HPKE" + KEM_ID.to_bytes(2) + KDF_ID.to_bytes(2) + AEAD_ID.to_bytes(2)
KEM_SUITE = b"KEM" + KEM_ID.to_bytes(2)


def extract(salt: bytes, key_material: bytes) -> bytes:
    return hmac.digest(salt or bytes(32), key_material, "sha256")


def expand(key: bytes, info: bytes, length: int) -> bytes:
    out, block, counter = b"", b"", 1
    while len(out) < length:
        block = hmac.digest(key, block + info + bytes([counter]), "sha256")
        out, counter = out + block, counter + 1
    return out[:length]


def labeled_extract(suite: bytes, salt: bytes, label: bytes, key_material: bytes) -> bytes:
    return extract(salt, b"HPKE-v1" + suite + label + key_material)


def labeled_expand(suite: bytes, key: bytes, label: bytes, info: bytes, length: int) -> bytes:
    return expand(key, length.to_bytes(2) + b"HPKE-v1" + suite + label + info, length)


@dataclass(frozen=True)
class Context:
    shared_secret: bytes
    key: bytes
    base_nonce: bytes

    def nonce(self, sequence: int) -> bytes:
        return (int.from_bytes(self.base_nonce) ^ sequence).to_bytes(12)

    def seal(self, plain: bytes, aad: bytes = b"", sequence: int = 0) -> bytes:
        return AESGCM(self.key).encrypt(self.nonce(sequence), plain, aad)

    def open(self, sealed: bytes, aad: bytes = b"", sequence: int = 0) -> bytes:
        return AESGCM(self.key).decrypt(self.nonce(sequence), sealed, aad)


def point(key: ec.EllipticCurvePublicKey) -> bytes:
    return key.public_bytes(Encoding.X962, PublicFormat.UncompressedPoint)


def public_key(data: bytes) -> ec.EllipticCurvePublicKey:
    return ec.EllipticCurvePublicKey.from_encoded_point(ec.SECP256R1(), data)


def private_key(scalar: bytes) -> ec.EllipticCurvePrivateKey:
    return ec.derive_private_key(int.from_bytes(scalar), ec.SECP256R1())


def _context(dh: bytes, enc: bytes, receiver: bytes, info: bytes) -> Context:
    eae = labeled_extract(KEM_SUITE, b"", b"eae_prk", dh)
    shared = labeled_expand(KEM_SUITE, eae, b"shared_secret", enc + receiver, 32)
    schedule = b"\x00" + labeled_extract(HPKE_SUITE, b"", b"psk_id_hash", b"")
    schedule += labeled_extract(HPKE_SUITE, b"", b"info_hash", info)
    secret = labeled_extract(HPKE_SUITE, shared, b"secret", b"")
    key = labeled_expand(HPKE_SUITE, secret, b"key", schedule, 32)
    return Context(shared, key, labeled_expand(HPKE_SUITE, secret, b"base_nonce", schedule, 12))


def sender(receiver: bytes, info: bytes, ephemeral: ec.EllipticCurvePrivateKey | None = None) -> tuple[bytes, Context]:
    """`enc` and the sending context."""
    own = ephemeral or ec.generate_private_key(ec.SECP256R1())
    enc = point(own.public_key())
    return enc, _context(own.exchange(ec.ECDH(), public_key(receiver)), enc, receiver, info)


def receiver(own: ec.EllipticCurvePrivateKey, enc: bytes, info: bytes) -> Context:
    return _context(own.exchange(ec.ECDH(), public_key(enc)), enc, point(own.public_key()), info)
