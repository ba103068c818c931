"""The numbers under which hospitals know a patient: sealed, and found again by exact match through keyed fingerprints.

A number is compared without anything but letters and figures, and without case: `12-345/b` and `12345B` are one number. Leading zeros
count. An issuer is compared the same way. The key of the fingerprints lies in the key folder, so that a copy of the database alone
tells nobody whether a number they know is in it.
"""

import hmac
import unicodedata
from collections.abc import Mapping
from datetime import date, datetime
from typing import Any, Protocol

from sqlalchemy import select
from sqlalchemy.orm import Session

from server.clinic.history import change_row, note_change
from server.clinic.left_open import refuse_new_details
from server.fields.check import Calendar, CheckedEntry, EntryRefused, checked
from server.fields.field import Errors, Value
from server.fields.person import HOSPITAL_NUMBER
from server.models import HospitalNumber, Patient
from server.trust.audit import audit


class SearchKeys(Protocol):
    """The key folder, as hospital numbers need it."""

    def search_key(self) -> bytes: ...

    def first_search_key(self) -> bytes: ...


def key_of(session: Session, keys: SearchKeys) -> bytes:
    """The key of the fingerprints. The first number makes it; after that a lost one is never replaced unseen: LookupError."""
    if session.scalar(select(HospitalNumber.id).limit(1)) is None:
        return keys.first_search_key()
    return keys.search_key()


def bare(text: str) -> str:
    """What of a number or an issuer is compared."""
    plain = unicodedata.normalize("NFKD", text).upper()
    return "".join(sign for sign in plain if sign.isalnum())


def number_digest(key: bytes, number: str) -> bytes:
    return hmac.digest(key, b"number\0" + bare(number).encode(), "sha256")


def issued_digest(key: bytes, issuer: str, number: str) -> bytes:
    return hmac.digest(key, b"issued\0" + bare(issuer).encode() + b"\0" + bare(number).encode(), "sha256")


def numbers_of(session: Session, patient: Patient) -> list[HospitalNumber]:
    """Those that stand, in the order of entry."""
    kept = select(HospitalNumber).where(HospitalNumber.patient_id == patient.id, HospitalNumber.removed_at.is_(None))
    return list(session.scalars(kept.order_by(HospitalNumber.id)))


def find_by_number(session: Session, key: bytes, number: str) -> list[int]:
    """The ids of the patients whom any issuer knows under this number."""
    if not bare(number):
        return []
    wanted = (HospitalNumber.number_digest == number_digest(key, number), HospitalNumber.removed_at.is_(None))
    return list(session.scalars(select(HospitalNumber.patient_id).where(*wanted).distinct()))


def add_number(
    session: Session, patient: Patient, values: Mapping[str, Value], key: bytes, *, now: datetime, by_id: int
) -> HospitalNumber:
    """Raises EntryRefused, also when the same issuer gave the same number to somebody: the sentence says to whom.

    Raises Contradiction where erasure was asked for.
    """
    refuse_new_details(patient)
    entry = _checked(session, values, key)
    row = HospitalNumber(patient_id=patient.id, made_at=now, made_by_id=by_id, **_columns(entry, key))
    session.add(row)
    session.flush()
    note_change(session, row, "number", None, f"{row.issuer}: {row.number}", now=now, by_id=by_id)
    audit(session, "hospital_number:added", f"patient {patient.id}", now=now, by_id=by_id)
    return row


def correct_number(
    session: Session,
    row: HospitalNumber,
    values: Mapping[str, Value],
    key: bytes,
    *,
    now: datetime,
    by_id: int,
    why: str,
) -> None:
    """The old number stays in the history. Raises EntryRefused."""
    entry = _checked(session, values, key, except_id=row.id)
    changed = change_row(
        session, row, {"issuer": entry["issuer"], "number": entry["number"]}, now=now, by_id=by_id, why=why
    )
    columns = _columns(entry, key)
    row.number_digest, row.issued_digest = columns["number_digest"], columns["issued_digest"]
    audit(session, "hospital_number:corrected", f"patient {row.patient_id}", now=now, by_id=by_id, fields=changed)


def remove_number(session: Session, row: HospitalNumber, *, now: datetime, by_id: int, why: str) -> None:
    """It was not this patient's: nobody finds the patient by it any more. The row stays."""
    row.removed_at = now
    note_change(session, row, "number", f"{row.issuer}: {row.number}", None, now=now, by_id=by_id, why=why)
    audit(session, "hospital_number:removed", f"patient {row.patient_id}", now=now, by_id=by_id)


def _checked(
    session: Session, values: Mapping[str, Value], key: bytes, *, except_id: int | None = None
) -> CheckedEntry:
    entry = checked(HOSPITAL_NUMBER, values, Calendar(date.max))
    issuer, number = str(entry["issuer"]), str(entry["number"])
    empty: Errors = {name: ["Write letters or figures."] for name in ("issuer", "number") if not bare(str(entry[name]))}
    if empty:
        raise EntryRefused(empty)
    same = select(HospitalNumber).where(
        HospitalNumber.issued_digest == issued_digest(key, issuer, number), HospitalNumber.removed_at.is_(None)
    )
    found = session.scalars(same.where(HospitalNumber.id != (except_id or 0))).first()
    if found is not None:
        holder = session.get_one(Patient, found.patient_id)
        raise EntryRefused(
            {"number": [f"{number} of {issuer} already belongs to {holder.study_number}. Is it the same person?"]}
        )
    return entry


def _columns(entry: CheckedEntry, key: bytes) -> dict[str, Any]:
    issuer, number = str(entry["issuer"]), str(entry["number"])
    return {
        "issuer": issuer,
        "number": number,
        "number_digest": number_digest(key, number),
        "issued_digest": issued_digest(key, issuer, number),
    }
