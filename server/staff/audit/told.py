"""A row of the audit trail, or of who looked at whom, as a page and a file tell it: people by name, patients by study number."""

import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from sqlalchemy import select
from sqlalchemy.orm import Session

from server.models import AuditEntry, DataLock, Patient, PatientView, Series
from server.queries.belongs import whose
from server.staff.audit.audit_details import detail_words
from server.staff.audit.audit_words import action_words, thing_words
from server.staff.audit.found import Row
from server.staff.page import words
from server.staff.page.request_context import request_context
from server.staff.page.staff_names import staff_names


@dataclass(frozen=True)
class Told:
    """`number`: the study number of the patient whom it is about; empty where it is about no single one."""

    at: str
    who: str
    what: str
    which: str
    number: str
    detail: str


def tell(session: Session, rows: Sequence[Row]) -> list[Told]:
    """In the reader's language, at the clinic's hour."""
    staff = staff_names(session)
    acts = [row for row in rows if isinstance(row, AuditEntry)]
    owners = whose(session, [row.thing for row in acts])
    patients = {*owners.values(), *(row.patient_id for row in rows if isinstance(row, PatientView))}
    numbers = _numbers(session, patients)
    named = _named(session, [row.thing for row in acts], staff)
    zone = request_context().time_zone
    return [
        _act(row, staff, numbers.get(owners.get(row.thing, 0), ""), named, zone)
        if isinstance(row, AuditEntry)
        else Told(words.moment(row.hour, zone), _who(row.by_id, staff), "", "", numbers.get(row.patient_id, ""), "")
        for row in rows
    ]


def _act(row: AuditEntry, staff: Mapping[int, str], number: str, named: Mapping[str, str], zone: str) -> Told:
    what = words.sentence(action_words(row.action))
    which = " ".join(part for part in (thing_words(row.thing), named.get(row.thing, "")) if part)
    detail = detail_words(row.action, json.loads(row.detail)) if row.detail else ""
    return Told(words.moment(row.at, zone), _who(row.by_id, staff), what, which, number, detail)


def _who(by_id: int | None, staff: Mapping[int, str]) -> str:
    if by_id is None:
        return words.gettext("the program")
    return staff.get(by_id, words.pgettext("who answered", "staff"))


def _numbers(session: Session, ids: set[int]) -> dict[int, str]:
    rows = session.execute(select(Patient.id, Patient.study_number).where(Patient.id.in_(ids))).all()
    return {row.id: row.study_number for row in rows}


def _named(session: Session, things: Sequence[str], staff: Mapping[int, str]) -> dict[str, str]:
    """Things that have a name of their own, in quotation marks."""
    found = {f"account {account_id}": f"“{name}”" for account_id, name in staff.items()}
    for kind, model in (("data_lock", DataLock), ("series", Series)):
        ids = [int(each.split()[1]) for each in things if each.split()[0] == kind and each.split()[-1].isdigit()]
        rows = session.execute(select(model.id, model.name).where(model.id.in_(ids))).all() if ids else ()
        found |= {f"{kind} {row.id}": f"“{row.name}”" for row in rows}
    return found
