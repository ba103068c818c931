"""Which operation an event followed: read from the days, so that it stays true when an operation is entered, moved or corrected later."""

from collections.abc import Collection, Iterable, Mapping
from datetime import date
from typing import Any, TypeVar

from sqlalchemy import Row, select
from sqlalchemy.orm import Session

from server.models import ClinicEvent, FollowUp, Operation, Response, Timepoint
from server.queries.clock import clinic_day, the_clinic
from server.queries.course import Dated, in_course
from server.schedule.dates import last_possible, middle_day

Told = tuple[date, int]  # the day of the answer in which it was reported, and the operation whose form that was


Op = TypeVar("Op", bound=Dated)


def followed(event: ClinicEvent, operations: Iterable[Op], told: Told | None) -> Op | None:
    """The last operation on the shoulder that was done by then; `operations`: those of its shoulder that stand.

    A day known to its month or year stands at the 15th, or 1 July, but not before an operation that can have come first: a patient who
    reports on the form of an operation speaks of the time since it. An event that is an operation itself did not follow that one.
    """
    on, precision = event.happened_on, event.happened_precision
    latest, last = middle_day(on, precision), last_possible(on, precision)
    if told is not None:
        latest, last = min(latest, told[0]), min(last, told[0])
    course = [(day, each) for day, each in in_course(list(operations)) if each.id != event.recorded_as_id]
    possible = [each for _day, each in course if each.surgery_on is not None and each.surgery_on <= last]
    by_then = [each for day, each in course if day <= latest]
    asked_about = [each for each in possible if told is not None and each.id == told[1]]
    return max(
        (*by_then[-1:], *asked_about), key=[each for _day, each in course].index, default=next(iter(possible), None)
    )


def told_in(session: Session, responses: Any) -> Mapping[int, Told]:
    """For the answers with these ids, or of this selection of ids: their day, and the operation whose form it was."""
    clinic = the_clinic(session)
    query = select(Response.id, Response.finished_at, FollowUp.operation_id)
    joined = query.join(Timepoint, Timepoint.id == Response.timepoint_id).join(
        FollowUp, FollowUp.id == Timepoint.follow_up_id
    )
    rows: Iterable[Row[Any]] = session.execute(joined.where(Response.id.in_(responses)))
    return {row.id: (clinic_day(clinic, row.finished_at), row.operation_id) for row in rows}


def events_after(session: Session, moved: Collection[int], operations: Collection[Operation]) -> list[ClinicEvent]:
    """The events of a shoulder, in the order of entry, that followed one of the operations `moved`; `operations`: all of the shoulder."""
    query = select(ClinicEvent).where(ClinicEvent.shoulder_id.in_({each.shoulder_id for each in operations}))
    events = list(session.scalars(query.order_by(ClinicEvent.id)))
    told = told_in(session, {each.response_id for each in events if each.response_id is not None})
    of = {each.id: followed(each, operations, told.get(each.response_id or 0)) for each in events}
    return [each for each in events if (after := of[each.id]) is not None and after.id in moved]
