"""The log of operations whose patients are not enrolled: what coverage is counted from, without a name."""

from collections.abc import Iterator, Mapping
from datetime import date, datetime

from sqlalchemy import select
from sqlalchemy.orm import Session

from server.clinic.history import change_row
from server.clinic.recorded import correct_row, enter_row
from server.fields.check import Calendar, CheckedEntry, checked
from server.fields.day_words import day_words
from server.fields.field import Value
from server.fields.log import LOG
from server.fields.stored import stored_values
from server.models import Operation, OperationLog
from server.queries.current import OF_NOBODY_ENROLLED, of_nobody_enrolled
from server.trust.audit import audit

TELL_APART = ("surgery_on", "side", "procedure", "surgeon", "birth_year")
LONGEST_ID = 10  # digits; a longer number is no row of any database


def log_operation(
    session: Session, values: Mapping[str, Value], *, now: datetime, today: date, by_id: int | None
) -> OperationLog:
    """A line. Raises EntryRefused with every error."""
    entry = check_line(values, today)
    line = OperationLog(**stored_values(LOG, entry))
    enter_row(session, line, now=now, by_id=by_id)
    return line


def doubts_about_line(session: Session, values: Mapping[str, Value]) -> list[str]:
    """A sentence where a line that counts says the same already: it may be two people, and is often one entered twice."""
    alike = [getattr(OperationLog, name) == values.get(name) for name in TELL_APART]
    counts = select(OperationLog.id).where(OF_NOBODY_ENROLLED, OperationLog.taken_back_at.is_(None))
    on = values["surgery_on"]
    if not isinstance(on, date) or session.scalars(counts.where(*alike)).first() is None:
        return []
    return [
        f"A line of {day_words(on)} has the same side, procedure, surgeon and year of birth already. Is this operation entered twice?"
    ]


def correct_line(
    session: Session,
    line: OperationLog,
    values: Mapping[str, Value],
    *,
    now: datetime,
    today: date,
    by_id: int | None,
    why: str,
) -> list[str]:
    """The names of the fields that changed; the values before stay in the history. Raises EntryRefused with every error."""
    kept = stored_values(LOG, check_line(values, today))
    return correct_row(session, line, kept, now=now, by_id=by_id, why=why)


def enrolled_after_all(
    session: Session, line: OperationLog, operation: Operation, *, now: datetime, by_id: int | None
) -> None:
    """The patient of this line is enrolled now: from here on the operation itself is counted, and the line no longer.

    An enrolment that was in error gives way to the right one. Nothing happens where the line has an operation that stands.
    """
    if of_nobody_enrolled(session, line):
        change_row(session, line, {"operation_id": operation.id}, now=now, by_id=by_id)
        audit(
            session, "operation_log:enrolled", f"operation_log {line.id}", now=now, by_id=by_id, operation=operation.id
        )


def log_line(session: Session, typed: str) -> OperationLog | None:
    """The line of somebody not enrolled whose id was sent; None for any other text."""
    line = (
        session.get(OperationLog, int(typed))
        if typed.isascii() and typed.isdecimal() and len(typed) < LONGEST_ID
        else None
    )
    return line if line is not None and of_nobody_enrolled(session, line) else None


def check_line(values: Mapping[str, Value], today: date) -> CheckedEntry:
    return checked(LOG, values, Calendar(today), _together(values))


def _together(values: Mapping[str, Value]) -> Iterator[tuple[str, str]]:
    year, on = values.get("birth_year"), values.get("surgery_on")
    if isinstance(year, int) and isinstance(on, date) and year > on.year:
        yield "birth_year", f"{year} is after the operation. Check both years."
