"""A planned operation is cancelled."""

from datetime import date, datetime

from sqlalchemy.orm import Session

from server.clinic.contradiction import refuse_first, refuse_if
from server.clinic.history import change_row
from server.clinic.operations import refresh_follow_ups
from server.fields.check import text_problems
from server.fields.day_words import day_words
from server.fields.field import named
from server.fields.operation import OPERATION
from server.models import Operation
from server.queries.clock import clinic_day, the_clinic
from server.trust.audit import audit


def surgery_cancelled(
    session: Session,
    operation: Operation,
    on: date,
    *,
    reason: str | None,
    now: datetime,
    today: date,
    by_id: int | None,
) -> None:
    """The operation will not be done. Its own follow-up ends; those of other operations go on."""
    done_on = operation.surgery_on
    refuse_if(done_on is not None, f"This operation was done on {day_words(done_on)} and cannot be cancelled.")
    refuse_if(
        operation.cancelled_on is not None,
        f"This operation was already cancelled on {day_words(operation.cancelled_on)}.",
    )
    refuse_if(
        on > today, f"{day_words(on)} is after today ({day_words(today)}). Enter the day on which it was cancelled."
    )
    refuse_if(
        on < clinic_day(the_clinic(session), operation.made_at),
        f"{day_words(on)} is before the day on which this operation was entered.",
    )
    refuse_first(text_problems(reason or "", named(OPERATION, "cancelled_reason").longest))
    values = {"cancelled_on": on, "cancelled_reason": reason or None}
    change_row(session, operation, values, now=now, by_id=by_id)
    audit(session, "operation:cancelled", f"operation {operation.id}", now=now, by_id=by_id, on=on)
    refresh_follow_ups(session, [operation], now=now, today=today, by_id=by_id)
