"""The one history of changes: who, when, old, new and why. Whoever changes what is recorded does it through here."""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from sqlalchemy import select, tuple_
from sqlalchemy.orm import Session

from server.fields.clinic import SETTINGS
from server.fields.component import COMPONENT
from server.fields.event import EVENT
from server.fields.field import Field, Kind
from server.fields.finding import FINDING
from server.fields.known_status import KNOWN_STATUS
from server.fields.log import LOG
from server.fields.operation import OPERATION, SHOULDER
from server.fields.person import ATTEMPT, CAPACITY, CONSENT, DEATH, ENDS_ON, HOSPITAL_NUMBER, PERSON, WITHDRAWAL
from server.fields.safety_net import SAFETY_NET
from server.fields.series import SERIES
from server.fields.stored import written
from server.models import Base, FieldChange
from server.words.phrase import Phrase, phrase, phrase_in

TABLES: Mapping[str, tuple[Field, ...]] = {
    "operation": OPERATION,
    "component": COMPONENT,
    "shoulder": SHOULDER,
    "patient": (*PERSON, *ENDS_ON, *DEATH, *WITHDRAWAL, *CAPACITY),
    "consent": CONSENT,
    "hospital_number": HOSPITAL_NUMBER,
    "clinic": SETTINGS,
    "safety_net": SAFETY_NET,
    "clinic_finding": FINDING,
    "clinic_event": EVENT,
    "known_status": KNOWN_STATUS,
    "operation_log": LOG,
    "contact_attempt": ATTEMPT,
    "series": SERIES,
}


# Columns that are no fields of a form, and what somebody has checked.
_OF_STRUCTURE = {
    "surgery_precision": phrase("How exactly the day is known"),
    "happened_precision": phrase("How exactly the day is known"),
    "first_stage_id": phrase("First stage"),
    "operation_id": phrase("Operation"),
    "taken_out_id": phrase("Taken out"),
    "struck_at": phrase("Written down by mistake"),
    "taken_back_at": phrase("Entered in error"),
    "withdrawn_at": phrase("Withdrawn"),
    "outcome": phrase("What became of it"),
    "done_at": phrase("Sent"),
    "checked": phrase("Checked and kept"),
    "answered_by": phrase("Who answered"),
    "recorded_as_id": phrase("Recorded as"),
    "side": phrase("Shoulder"),
    "whose": phrase("Whose it is"),
    "notice_id": phrase("Text that was agreed to"),
}

_OF_TABLE = {
    ("clinic_notice", "kind"): phrase("What it is about"),
    ("clinic_notice", "version"): phrase("Version"),
    ("clinic_notice", "language"): phrase("Language"),
    ("clinic_notice", "title"): phrase("Title"),
    ("clinic_notice", "content"): phrase("Text"),
    ("clinic_notice", "made_at"): phrase("In force since"),
    ("clinic_notice", "replaced_at"): phrase("In force until"),
    ("clinic_notice", "ended_why"): phrase("Why it was ended"),
}


_YES_NO = {"yes": phrase("yes"), "no": phrase_in("answer", "no")}


@dataclass(frozen=True)
class Change:
    """`label` is the field's; `old` and `new` are in its words, and empty for nothing."""

    row: tuple[str, int]
    field: str
    label: Phrase | str
    old: Phrase | str
    new: Phrase | str
    why: str
    at: datetime
    by_id: int | None


def change_row(
    session: Session, row: Base, values: Mapping[str, Any], *, now: datetime, by_id: int | None, why: str | None = None
) -> list[str]:
    """Sets the columns that differ and notes each change; returns their names. `values` are as columns keep them."""
    changed = [name for name, value in values.items() if getattr(row, name) != value]
    for name in changed:
        note_change(session, row, name, getattr(row, name), values[name], now=now, by_id=by_id, why=why)
        setattr(row, name, values[name])
    session.flush()
    return changed


def note_change(
    session: Session,
    row: Any,
    field: str,
    old: Any,
    new: Any,
    *,
    now: datetime,
    by_id: int | None,
    why: str | None = None,
) -> None:
    """For a change that another area has made or makes, such as a birth date, from which links are derived."""
    known = (row.__tablename__, row.id)
    session.add(
        FieldChange(
            table_name=known[0], row_id=known[1], field=field, old=written(old) or None, new=written(new) or None,
            why=why, at=now, by_id=by_id,
        )
    )  # fmt: skip


def read_changes(session: Session, rows: list[tuple[str, int]], *, most: int) -> list[Change]:
    """What was changed in these rows (table name and id), the newest first."""
    of_rows = tuple_(FieldChange.table_name, FieldChange.row_id).in_(rows)
    query = select(FieldChange).where(of_rows).order_by(FieldChange.id.desc()).limit(most)
    return [_change(each) for each in session.scalars(query)]


def field_label(table: str, name: str) -> Phrase | str:
    """What people read for a field of a table; its own name where none is known, as of an older version."""
    field = _field(table, name)
    return field.label if field else _OF_TABLE.get((table, name), _OF_STRUCTURE.get(name, name))


def _field(table: str, name: str) -> Field | None:
    return next((each for each in TABLES.get(table, ()) if each.name == name), None)


def _change(kept: FieldChange) -> Change:
    field = _field(kept.table_name, kept.field)
    return Change(
        row=(kept.table_name, kept.row_id),
        field=kept.field,
        label=field_label(kept.table_name, kept.field),
        old=_in_words(field, kept.old or ""),
        new=_in_words(field, kept.new or ""),
        why=kept.why or "",
        at=kept.at,
        by_id=kept.by_id,
    )


def _in_words(field: Field | None, text: str) -> Phrase | str:
    """A person reads the words of a choice, not the codes by which it is kept, and the lines of a list apart."""
    if field is not None and field.kind is Kind.LIST:
        return ", ".join(text.splitlines())
    if field is not None and field.kind is Kind.YES_NO:
        return _YES_NO.get(text, text)
    if field is None or field.kind not in (Kind.CHOICE, Kind.SEVERAL) or not text:
        return text
    if "," not in text:
        return field.words.get(text, text)
    said = {f"word_{place}": field.words.get(code, code) for place, code in enumerate(text.split(","))}
    return Phrase(", ".join(f"%({name})s" for name in said), said)
