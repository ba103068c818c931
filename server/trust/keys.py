"""The key folder: field keys, the clinic's sealing keys, and a key for each patient. It lies outside the database and its backups.

    keys/field/<key id>.key         32 random bytes; the newest is current
    keys/sealing/<key id>.pem       P-256 private keys
    keys/search/search.key          32 random bytes, for the fingerprints by which hospital numbers are found
    keys/patient/<ab>/<handle>.key  32 random bytes; deleting it erases the patient's answers

Every file is written whole (`server/store/whole_file.py`).
"""

import os
import secrets
from functools import lru_cache
from pathlib import Path

from cryptography.hazmat.primitives.asymmetric import ec
from cryptography.hazmat.primitives.serialization import Encoding, NoEncryption, PrivateFormat, load_pem_private_key

from server.crypto.fields import FieldRing, PatientCipher
from server.store.whole_file import write_whole

KEY_BYTES = 32


class KeyMissing(LookupError):
    """The key is not in the folder: erased, or kept offline."""


class KeyFolder:
    def __init__(self, folder: Path) -> None:
        self.folder = folder
        # Kept by file and time of writing: a key that was taken offline or erased is gone at once, in every process.
        self._read = lru_cache(maxsize=4096)(_read_key)
        self._parse = lru_cache(maxsize=16)(_parse_key)

    def __reduce__(self) -> tuple[type["KeyFolder"], tuple[Path]]:
        """A pickle names the folder and holds no key."""
        return KeyFolder, (self.folder,)

    def is_empty(self) -> bool:
        """Whether no key lies in it, or it is not there. What a power cut left of a key that was being written is none."""
        return not any(file.is_file() and not file.name.startswith(".") for file in self.folder.rglob("*"))

    def field_ring(self) -> FieldRing:
        """All field keys, the newest current. An empty ring seals and opens nothing: a lost folder is not mistaken for a new one."""
        files = sorted((self.folder / "field").glob("*.key"), key=lambda file: (file.stat().st_mtime_ns, file.name))
        if not files:
            return FieldRing({}, "")
        keys = {file.stem: file.read_bytes() for file in files}
        return FieldRing(keys, files[-1].stem)

    def first_field_key(self) -> FieldRing:
        """For the set-up of a new data folder only. Safe to repeat."""
        if not self.field_ring().keys:
            self._add_field_key()
        return self.field_ring()

    def _add_field_key(self) -> None:
        write_whole(self.folder / "field" / f"{secrets.token_hex(4)}.key", secrets.token_bytes(KEY_BYTES))

    def search_key(self) -> bytes:
        """The key of the fingerprints of hospital numbers. Raises KeyMissing before the first, or when it was lost."""
        file = self._search_file()
        return self._read(file, _written_at(file))

    def first_search_key(self) -> bytes:
        """For a clinic that has kept no hospital number yet: with another key none would be found again. Safe to repeat."""
        if not self._search_file().exists():
            write_whole(self._search_file(), secrets.token_bytes(KEY_BYTES))
        return self.search_key()

    def _search_file(self) -> Path:
        return self.folder / "search" / "search.key"

    def new_sealing_key(self) -> tuple[str, ec.EllipticCurvePublicKey]:
        """Makes a key pair; returns its id and public half."""
        key_id, key = secrets.token_hex(8), ec.generate_private_key(ec.SECP256R1())
        pem = key.private_bytes(Encoding.PEM, PrivateFormat.PKCS8, NoEncryption())
        write_whole(self.folder / "sealing" / f"{key_id}.pem", pem)
        return key_id, key.public_key()

    def sealing_key(self, key_id: str) -> ec.EllipticCurvePrivateKey:
        """Raises KeyMissing when the private half is not here."""
        if not key_id.isascii() or not key_id.isalnum():
            raise KeyMissing(key_id)
        file = self.folder / "sealing" / f"{key_id}.pem"
        return self._parse(file, _written_at(file))

    def _patient_file(self, handle: str) -> Path:
        return self.folder / "patient" / handle[:2] / f"{handle}.key"

    def new_patient_key(self, handle: str) -> None:
        """Safe to repeat: an existing key stays. Made durable before the patient's row is committed."""
        file = self._patient_file(handle)
        if not file.exists():
            write_whole(file, secrets.token_bytes(KEY_BYTES))

    def patients_with_key(self) -> frozenset[str]:
        """Their handles, by names alone: of 20,000 files none is looked at by itself."""
        found = (name for _place, _folders, names in os.walk(self.folder / "patient") for name in names)
        return frozenset(name.removesuffix(".key") for name in found if not name.startswith("."))

    def patient_cipher(self, handle: str) -> PatientCipher:
        """Raises KeyMissing once the key was erased."""
        file = self._patient_file(handle)
        return PatientCipher(self._read(file, _written_at(file)))

    def erase_patient_key(self, handle: str) -> None:
        self._patient_file(handle).unlink(missing_ok=True)
        self._read.cache_clear()


def _written_at(file: Path) -> int:
    try:
        return file.stat().st_mtime_ns
    except FileNotFoundError as problem:
        raise KeyMissing(file.stem) from problem


def _read_key(file: Path, _written_at: int) -> bytes:
    return file.read_bytes()


def _parse_key(file: Path, _written_at: int) -> ec.EllipticCurvePrivateKey:
    key = load_pem_private_key(file.read_bytes(), None)
    if not isinstance(key, ec.EllipticCurvePrivateKey):
        raise KeyMissing(f"{file.name} is no P-256 key")
    return key
