"""The rows of the list of patients: of each shoulder the implant, the last answer, and what is due next."""

from collections.abc import Collection
from dataclasses import dataclass
from datetime import date

from markupsafe import Markup
from sqlalchemy import select
from sqlalchemy.orm import Session, selectinload

from server.models import FollowUp, Operation, Patient, Shoulder, Timepoint
from server.queries.course import in_course
from server.queries.current import STANDS
from server.queries.facts import STATUS_COLUMNS, TimepointRow, status_of
from server.schedule.status import WAITING, Status
from server.staff.page import words
from server.staff.page.shoulder_rulers import read_rulers


@dataclass(frozen=True)
class ShoulderRow:
    """`waits` is the status of `due` where it is open by now; None where it lies ahead, or where nothing is due."""

    side: str
    implant: str
    operated: str
    planned: bool
    answered: tuple[date, str] | None
    due: tuple[date, str] | None
    waits: Status | None
    ruler: Markup


@dataclass(frozen=True)
class PatientRow:
    patient: Patient
    shoulders: tuple[ShoulderRow, ...]


def patient_rows(session: Session, ids: Collection[int], today: date) -> list[PatientRow]:
    """In the order of `ids`; as many queries for a page as for one person."""
    loaded = select(Patient).where(Patient.id.in_(ids))
    loaded = loaded.options(selectinload(Patient.shoulders).selectinload(Shoulder.operations))
    by_id = {each.id: each for each in session.scalars(loaded)}
    shoulders = [shoulder for each in by_id.values() for shoulder in each.shoulders]
    rulers = read_rulers(session, shoulders, today=today)
    timepoints: dict[int, list[TimepointRow]] = {}
    for row in session.execute(
        select(Operation.shoulder_id, Timepoint.code, *STATUS_COLUMNS)
        .join(FollowUp, FollowUp.operation_id == Operation.id)
        .join(Timepoint, Timepoint.follow_up_id == FollowUp.id)
        .where(STANDS, Operation.shoulder_id.in_([each.id for each in shoulders]))
    ):
        timepoints.setdefault(row.shoulder_id, []).append(row)
    return [
        PatientRow(
            by_id[id_],
            tuple(
                _shoulder_row(each, timepoints.get(each.id, []), rulers.get(each.id, Markup("")), today)
                for each in by_id[id_].shoulders
                if each.operations
            ),
        )
        for id_ in ids
    ]


def _shoulder_row(shoulder: Shoulder, rows: list[TimepointRow], ruler: Markup, today: date) -> ShoulderRow:
    answered = max(
        ((row.answered_on, words.timepoint(row.code)) for row in rows if row.answered_on is not None),
        key=lambda each: each[0],
        default=None,
    )
    with_status = [(row, status_of(row, today)) for row in rows]
    ahead = [each for each in with_status if each[1] in (*WAITING, Status.UPCOMING)]
    due, status = min(ahead, key=lambda each: each[0].due_on) if ahead else (None, None)
    operation = _operation(shoulder)
    return ShoulderRow(
        side=shoulder.side,
        implant=_implant(operation),
        operated=_operated(operation),
        planned=operation is not None and operation.surgery_on is None,
        answered=answered,
        due=(due.due_on, words.timepoint(due.code)) if due is not None else None,
        waits=status if status in WAITING else None,
        ruler=ruler,
    )


def _operation(shoulder: Shoulder) -> Operation | None:
    """The one by which the implant that is in came in; where none was done yet, the one that is planned."""
    standing = [each for each in shoulder.operations if each.cancelled_on is None]
    found = [each for _day, each in in_course(standing)] or standing
    return next((each for each in reversed(found) if each.implant_type), found[-1] if found else None)


def _implant(operation: Operation | None) -> str:
    if operation is None:
        return words.gettext("no operation recorded")
    return (
        words.say(words.IMPLANT[operation.implant_type])
        if operation.implant_type
        else words.gettext("implant not recorded")
    )


def _operated(operation: Operation | None) -> str:
    if operation is None:
        return ""
    if operation.surgery_on is not None:
        return words.short_day(operation.surgery_on, operation.surgery_precision)
    if operation.surgery_planned_on is not None:
        return words.gettext("planned %(day)s") % {"day": words.short_day(operation.surgery_planned_on)}
    return words.gettext("planned, no day yet")
