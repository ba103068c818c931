"""The days between the two stages of an exchange: no definitive implant is in the shoulder, so scores of these days are told apart."""

from collections.abc import Collection, Iterable, Mapping
from dataclasses import dataclass
from datetime import date

from sqlalchemy import select
from sqlalchemy.orm import Session, aliased

from server.fields.operation_words import AWAITS_ITS_SECOND
from server.models import Operation
from server.queries.current import STANDS


@dataclass(frozen=True)
class SpacerTime:
    """From the removal on; up to the second stage, whose day has the definitive implant. None: it is not done."""

    since: date
    until: date | None

    def holds(self, on: date) -> bool:
        return self.since <= on and (self.until is None or on < self.until)


def spacer_times(session: Session, shoulders: Collection[int]) -> Mapping[int, list[SpacerTime]]:
    """By shoulder, of those that have any, the first one first."""
    second = aliased(Operation)
    query = (
        select(Operation.shoulder_id, Operation.surgery_on.label("since"), second.surgery_on.label("until"))
        .outerjoin(second, (second.first_stage_id == Operation.id) & second.taken_back_at.is_(None))
        .where(
            Operation.shoulder_id.in_(shoulders),
            Operation.stage.in_(AWAITS_ITS_SECOND),
            Operation.surgery_on.is_not(None),
            STANDS,
        )
        .order_by(Operation.surgery_on)
    )
    found: dict[int, list[SpacerTime]] = {}
    for row in session.execute(query):
        found.setdefault(row.shoulder_id, []).append(SpacerTime(row.since, row.until))
    return found


def in_a_spacer_time(times: Iterable[SpacerTime], on: date) -> bool:
    return any(each.holds(on) for each in times)
