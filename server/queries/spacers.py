"""The days between the two stages of an exchange: no definitive implant is in the shoulder, so scores of these days are told apart."""

from collections.abc import Collection, Iterable
from dataclasses import dataclass
from datetime import date

from server.fields.operation_words import AWAITS_ITS_SECOND
from server.models import Operation
from server.queries.course import in_course


@dataclass(frozen=True)
class SpacerTime:
    """From the removal on; up to the second stage, whose day has the definitive implant. None: it is not done."""

    first_stage: Operation
    since: date
    second_stage: Operation | None
    until: date | None

    def holds(self, on: date) -> bool:
        return self.since <= on and (self.until is None or on < self.until)


def spacer_times(of_shoulder: Collection[Operation], until: date | None = None) -> list[SpacerTime]:
    """Of one shoulder, the first one first; `until` as in server.queries.course."""
    course = in_course(of_shoulder, until)
    seconds = {each.first_stage_id: (each, day) for day, each in course if each.first_stage_id is not None}
    return [
        SpacerTime(each, day, *seconds.get(each.id, (None, None)))
        for day, each in course
        if each.stage in AWAITS_ITS_SECOND
    ]


def in_a_spacer_time(times: Iterable[SpacerTime], on: date) -> bool:
    return any(each.holds(on) for each in times)
