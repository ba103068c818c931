"""Rows of the audit trail and of who looked at whom, the newest first, as an address asks for them.

A page begins after the last row of the one before, and nothing is counted: counting a million rows takes longer than the page. Each kind of
action is read from the index of its own and the newest of all are taken, since the newest of several kinds stand in no index.
"""

from collections.abc import Sequence
from datetime import UTC, datetime

from sqlalchemy import ColumnElement, and_, false, func, or_, select, true, union_all
from sqlalchemy.orm import Session, aliased

from server.models import AuditEntry, Patient, PatientView
from server.queries.belongs import records_of, things_of
from server.staff.audit.asked import PROGRAM, VIEWS, Asked
from server.staff.audit.audit_words import ACTIONS, KINDS, action_words
from server.staff.page.staff_names import staff_names

AT_ONCE = 100
Row = AuditEntry | PatientView


def newest(session: Session, asked: Asked, zone: str, most: int = AT_ONCE) -> tuple[Sequence[Row], str]:
    """At most so many rows, and where the next page goes on; empty where there is no more."""
    read = _views if asked.show == VIEWS else _acts
    found: Sequence[Row] = read(session, asked, zone, most + 1)
    return found[:most], (_place(found[most - 1]) if len(found) > most else "")


def _place(row: Row) -> str:
    if isinstance(row, AuditEntry):
        return str(row.id)
    return f"{row.hour:%Y%m%d%H}-{row.patient_id}-{row.by_id}"


def patients_asked(session: Session, number: str) -> list[int]:
    """Every record of the person with this study number; none where nobody has it."""
    found = session.scalar(select(Patient.id).where(func.upper(Patient.study_number) == number.upper()))
    return records_of(session, found) if found is not None else []


def _acts(session: Session, asked: Asked, zone: str, most: int) -> Sequence[AuditEntry]:
    conditions = _acts_asked(session, asked, zone)
    order = (AuditEntry.at.desc(), AuditEntry.id.desc())
    kinds = _actions_of(asked.kind) if asked.kind else None
    if kinds is None or len(kinds) == 1 or asked.patient:
        only = [AuditEntry.action.in_(kinds)] if kinds is not None else []
        return session.scalars(select(AuditEntry).where(*conditions, *only).order_by(*order).limit(most)).all()
    newest_of_each = [
        select(AuditEntry).where(*conditions, AuditEntry.action == each).order_by(*order).limit(most).subquery()
        for each in kinds
    ]
    if not newest_of_each:
        return []
    together = aliased(AuditEntry, union_all(*(select(each) for each in newest_of_each)).subquery())
    return session.scalars(select(together).order_by(together.at.desc(), together.id.desc()).limit(most)).all()


def _acts_asked(session: Session, asked: Asked, zone: str) -> list[ColumnElement[bool]]:
    since, until = asked.instants(zone)
    found: list[ColumnElement[bool]] = []
    if asked.by:
        found.append(AuditEntry.by_id.is_(None) if asked.by == PROGRAM else AuditEntry.by_id == _number(asked.by))
    if asked.patient:
        found.append(AuditEntry.thing.in_(things_of(session, patients_asked(session, asked.patient))))
    if asked.find:
        found.append(_acts_with(session, asked.find))
    if since is not None:
        found.append(AuditEntry.at >= since)
    if until is not None:
        found.append(AuditEntry.at < until)
    last = session.get(AuditEntry, _number(asked.before)) if asked.before else None
    if last is not None:
        found += [AuditEntry.at <= last.at, or_(AuditEntry.at < last.at, AuditEntry.id < last.id)]
    return found


def _acts_with(session: Session, typed: str) -> ColumnElement[bool]:
    """What was done in these words, as the reader reads them, by somebody of this name, or about the patient of this number."""
    part = typed.casefold()
    actions = [each for each in ACTIONS if part in action_words(each).casefold()]
    people = [account_id for account_id, name in staff_names(session).items() if part in name.casefold()]
    things = things_of(session, patients_asked(session, typed))
    chosen = ((AuditEntry.action, actions), (AuditEntry.by_id, people), (AuditEntry.thing, things))
    return or_(false(), *(column.in_(values) for column, values in chosen if values))


def _actions_of(kind: str) -> list[str]:
    subjects = KINDS[kind].subjects if kind in KINDS else ()
    return [each for each in ACTIONS if each.split(":")[0] in subjects]


def _views(session: Session, asked: Asked, zone: str, most: int) -> Sequence[PatientView]:
    since, until = asked.instants(zone)
    conditions: list[ColumnElement[bool]] = []
    if asked.by:
        conditions.append(PatientView.by_id == _number(asked.by))
    if asked.patient:
        conditions.append(PatientView.patient_id.in_(patients_asked(session, asked.patient)))
    if asked.find:
        people = [key for key, name in staff_names(session).items() if asked.find.casefold() in name.casefold()]
        of_number = patients_asked(session, asked.find)
        conditions.append(or_(PatientView.by_id.in_(people), PatientView.patient_id.in_(of_number)))
    if since is not None:
        conditions.append(PatientView.hour >= since)
    if until is not None:
        conditions.append(PatientView.hour < until)
    if asked.before:
        conditions.append(_views_before(asked.before))
    order = (PatientView.hour.desc(), PatientView.patient_id.desc(), PatientView.by_id.desc())
    return session.scalars(select(PatientView).where(*conditions).order_by(*order).limit(most)).all()


def _views_before(place: str) -> ColumnElement[bool]:
    try:
        hour_text, patient, by = place.split("-")
        hour = datetime.strptime(hour_text, "%Y%m%d%H").replace(tzinfo=UTC)
    except ValueError:
        return true()
    view = PatientView
    of_hour = and_(view.patient_id == _number(patient), view.by_id < _number(by))
    earlier = or_(view.hour < hour, view.patient_id < _number(patient), of_hour)
    return and_(view.hour <= hour, earlier)


def _number(text: str) -> int:
    """An id in an address; 0, which no row has, for anything that is none."""
    return int(text) if text.isascii() and text.isdigit() and len(text) < 10 else 0
