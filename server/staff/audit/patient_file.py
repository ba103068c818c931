"""A person's whole file, for a request of access: every row of every table that concerns them, in all records of theirs.

As JSON it names its own keys; the PDF tells the same rows in words. What it holds is written in file_sections.py.
"""

from collections.abc import Mapping
from datetime import date, datetime
from typing import Any

from sqlalchemy import select, tuple_
from sqlalchemy.orm import Session

from server.clinic.history import field_label
from server.installation.runtime import Runtime
from server.models import AuditEntry, Base, ClinicNotice, Consent, FieldChange, Patient, Response, StaffAccount
from server.queries.belongs import PATIENT_OF, records_of, rows_of, things_of
from server.staff.audit.file_answers import answers_of
from server.staff.audit.file_sections import SECTIONS, WHY_LEFT_OUT, columns_of, names_staff
from server.words.language import Words

_ENGLISH = Words("staff", "en")
FORMAT = "yearmark-patient-file@1"
AT_ONCE = 400
ABOUT = {
    "format": "the name and version of this form of file",
    "made_at": "when it was made, UTC",
    "clinic": "who made it",
    "study_numbers": "every record of this person, the kept one first",
    "tables": "the rows of each table that concern this person, each by the names of its columns; an id names a row of another table",
    "tables.response[].answers": "every answer: question, chosen words, value and state; null where the answers cannot be opened any more",
    "columns": "what the columns of each table are called on the clinic's pages, where they have a name there",
    "staff": "the people of staff whom a column that ends in by_id, or account_id, names",
    "left_out": "what is not in this file, and why",
}


def file_of(session: Session, patient_id: int, machine: Runtime, *, clinic: str, now: datetime) -> dict[str, Any]:
    """The file as plain data; whichever record of the person is asked for."""
    ids = records_of(session, patient_id)
    rows = _all_rows(session, ids)
    told = {model.__tablename__: [_row(model, each) for each in found] for model, found in rows.items()}
    for row, response in zip(told["response"], rows[Response], strict=True):
        row["answers"] = answers_of(session, response, machine)
    numbers = [session.get_one(Patient, each).study_number for each in ids]
    return {
        "format": FORMAT,
        "about": ABOUT,
        "made_at": _plain(now),
        "clinic": clinic,
        "study_numbers": numbers,
        "tables": told,
        "columns": {model.__tablename__: _labels(model) for model in SECTIONS},
        "staff": _staff(session, told),
        "left_out": WHY_LEFT_OUT,
    }


def _all_rows(session: Session, ids: list[int]) -> dict[type[Base], list[Any]]:
    found = {model: rows_of(session, model, ids) for model in SECTIONS if model in PATIENT_OF}
    own = [(model.__tablename__, row.id) for model, rows in found.items() for row in rows if hasattr(row, "id")]
    changed = [
        row
        for some in _pieces(own)
        for row in session.scalars(
            select(FieldChange).where(tuple_(FieldChange.table_name, FieldChange.row_id).in_(some))
        )
    ]
    done = [
        row
        for some in _pieces(things_of(session, ids))
        for row in session.scalars(select(AuditEntry).where(AuditEntry.thing.in_(some)))
    ]
    return {
        **found,
        ClinicNotice: _agreed_to(session, found[Consent]),
        FieldChange: sorted(changed, key=lambda row: row.id),
        AuditEntry: sorted(done, key=lambda row: row.id),
    }


def _agreed_to(session: Session, consents: list[Consent]) -> list[ClinicNotice]:
    """The clinic's own texts, which belong to no patient, word for word as this person read them."""
    named = {each.notice_id for each in consents} - {None}
    return list(session.scalars(select(ClinicNotice).where(ClinicNotice.id.in_(named)).order_by(ClinicNotice.id)))


def _pieces(every: list[Any]) -> list[list[Any]]:
    return [every[first : first + AT_ONCE] for first in range(0, len(every), AT_ONCE)]


def _row(model: type[Base], row: Any) -> dict[str, Any]:
    return {name: _plain(getattr(row, name)) for name in columns_of(model)}


def _plain(value: Any) -> Any:
    """Days and instants by ISO 8601, the latter in UTC."""
    if isinstance(value, datetime):
        return value.isoformat(timespec="seconds").replace("+00:00", "Z")
    return value.isoformat() if isinstance(value, date) else value


def _labels(model: type[Base]) -> dict[str, str]:
    table = model.__tablename__
    labels = {name: _ENGLISH.say(field_label(table, name)) for name in columns_of(model)}
    return {name: label for name, label in labels.items() if label != name}


def _staff(session: Session, told: Mapping[str, list[dict[str, Any]]]) -> dict[str, dict[str, str]]:
    named = {
        value
        for rows in told.values()
        for row in rows
        for name, value in row.items()
        if names_staff(name) and isinstance(value, int)
    }
    found = session.scalars(select(StaffAccount).where(StaffAccount.id.in_(named)).order_by(StaffAccount.id))
    return {str(each.id): {"name": each.name, "role": each.role} for each in found}
