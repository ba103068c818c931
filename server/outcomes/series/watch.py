"""How long each implant was watched, and how that ended: the spans from which the curves of implant survival are formed.

Rules:

1. A watch begins at surgery, or on the later day since which a later operation would have become known (`watched_from`). What happened
   up to that day is told apart and not analysed; only on the day of surgery itself an event counts, as half a day.
2. It ends with the first revision, with death, or on the day on which the state of the implant was last known. Of a revision and a death
   on one day, or in the wrong order since a day is not known exactly, the revision was first.
3. Whoever died within two years after the implant was last known is taken to have died with it in place, for whoever is dead answers no
   more. After a longer silence the watch ended when it was last known.
4. Where a source says that it was operated again and no such operation is recorded, the watch ends with the last own answer before.
"""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date
from typing import Literal

from server.outcomes.arithmetic.spans import CENSORED, EVENT, Span
from server.outcomes.series.endpoints import Endpoint, first_end, never_can
from server.outcomes.series.followed import DatedFact, Followed
from server.schedule.dates import anniversary
from server.schedule.last_known import IMPLANT_LOST_YEARS

DEATH, OTHER_REVISION = 2, 3  # beside CENSORED and EVENT
DAYS_A_YEAR = 365.25
# How a watch ended, and why a shoulder was not watched at all.
ENDS = ("event", "other_revision", "died", "in_place", "known_earlier", "said_operated", "reported", "after_last_look")
REVISED_BEFORE, DIED_BEFORE, NOTHING_KNOWN = "revised_before", "died_before", "nothing_known"


@dataclass(frozen=True)
class Reading:
    """How the record is read. The first is the answer; every other one asks how much that answer depends on it.

    `confirmed`: what the patient alone said ends the watch without an event. `known_to_the_end`: whoever is not known to be revised or
    dead is taken to be in place on the as-of day. `planned_looks`: what happened after the last form that was answered came to light
    by other ways, so the watch ends with that form. `days`: which of the days that a day not known exactly can be, so that the time to
    the end is as recorded, shortest or longest. `said_counts`: a re-operation of which only a source tells is an event.
    """

    confirmed: bool = False
    known_to_the_end: bool = False
    planned_looks: bool = False
    days: Literal["as_recorded", "shortest", "longest"] = "as_recorded"
    said_counts: bool = False


@dataclass(frozen=True, eq=False)
class Watched:
    """Times in years after surgery. `end`: one of ENDS."""

    followed: Followed
    entry: float
    time: float
    status: int
    end: str

    @property
    def span(self) -> Span:
        row = self.followed.row
        return Span(self.time, self.status, self.entry, str(row.patient_id))


@dataclass(frozen=True, eq=False)
class NotWatched:
    followed: Followed
    reason: str


@dataclass(frozen=True)
class _End:
    on: date
    status: int
    end: str


def watch(followed: Followed, endpoint: Endpoint, as_of: date, reading: Reading) -> Watched | NotWatched:
    """The span of one shoulder, or why it has none."""
    reason = never_can(followed.row, endpoint)
    if reason is not None:
        return NotWatched(followed, reason)
    found = _end(followed, endpoint, as_of, reading)
    surgery = _operated(followed.surgery, reading)
    from_surgery = followed.watched_from <= followed.surgery.on
    entry = 0 if from_surgery else max(0, (followed.watched_from - surgery).days)
    days = (found.on - surgery).days
    if days <= entry and (found.status == CENSORED or not from_surgery):
        return NotWatched(followed, _BEFORE[found.status])
    return Watched(followed, entry / DAYS_A_YEAR, max(days, 0.5) / DAYS_A_YEAR, found.status, found.end)


def concerns(followed: Followed, reading: Reading) -> bool:
    """Whether this way of reading can tell anything else of the shoulder than the first; of most it cannot."""
    return (
        reading.known_to_the_end
        or (reading.confirmed and _is_reported(followed))
        or (reading.planned_looks and bool(followed.later))
        or (reading.days != "as_recorded" and _is_inexact(followed))
        or (reading.said_counts and followed.operated_unrecorded)
    )


def _is_reported(followed: Followed) -> bool:
    return not followed.death_certain or any(later.certainty == "reported" for later in followed.later)


def _is_inexact(followed: Followed) -> bool:
    facts = (followed.surgery, followed.died, *(later.day for later in followed.later))
    return any(fact is not None and fact.first != fact.last for fact in facts)


_BEFORE = {CENSORED: NOTHING_KNOWN, EVENT: REVISED_BEFORE, OTHER_REVISION: REVISED_BEFORE, DEATH: DIED_BEFORE}


def first_shoulders(followed: Iterable[Followed]) -> list[Followed]:
    """Of each person the shoulder that was operated on first."""
    found: dict[int | None, Followed] = {}
    for each in sorted(followed, key=lambda one: (one.surgery.on, one.row.side)):
        found.setdefault(each.row.patient_id, each)
    return list(found.values())


def _end(followed: Followed, endpoint: Endpoint, as_of: date, reading: Reading) -> _End:
    died = _day(followed.died, reading) if followed.died is not None else None
    operated = first_end(followed, endpoint)
    if operated is not None:
        later, is_endpoint = operated
        on = min(_day(later.day, reading), died or date.max, as_of)
        if reading.confirmed and later.certainty == "reported":
            return _End(on, CENSORED, "reported")
        look = _last_look(followed, as_of)
        if reading.planned_looks and on > look:
            return _End(look, CENSORED, "after_last_look")
        return _End(on, EVENT, "event") if is_endpoint else _End(on, OTHER_REVISION, "other_revision")
    known = min(followed.implant_on or followed.surgery.on, died or date.max, as_of)
    if followed.operated_unrecorded:
        return _said(followed, min(known, followed.operated_said_on or known), reading)
    if died is not None and _died_watched(followed, known, died, reading):
        return _End(died, DEATH, "died")
    if reading.known_to_the_end and died is None:
        return _End(as_of, CENSORED, "in_place")
    lost = anniversary(known, IMPLANT_LOST_YEARS) <= as_of or died is not None
    return _End(known, CENSORED, "known_earlier" if lost else "in_place")


def _said(followed: Followed, known: date, reading: Reading) -> _End:
    if reading.said_counts:
        return _End(known, EVENT, "event")
    return _End(_last_look(followed, known, before=True), CENSORED, "said_operated")


def _died_watched(followed: Followed, known: date, died: date, reading: Reading) -> bool:
    if reading.confirmed and not followed.death_certain:
        return False
    return reading.known_to_the_end or anniversary(max(known, followed.watched_from), IMPLANT_LOST_YEARS) >= died


def _last_look(followed: Followed, until: date, *, before: bool = False) -> date:
    """The last planned form that the patient answered; the day of surgery where there is none."""
    answers = [point.answer.on for point in followed.points.values() if point.answer is not None]
    reached = [on for on in answers if on < until or (on == until and not before)]
    return max((*reached, followed.surgery.on))


def _day(fact: DatedFact, reading: Reading) -> date:
    return {"as_recorded": fact.on, "shortest": fact.first, "longest": fact.last}[reading.days]


def _operated(surgery: DatedFact, reading: Reading) -> date:
    """The shortest time is that from the last day that surgery can have been."""
    return {"as_recorded": surgery.on, "shortest": surgery.last, "longest": surgery.first}[reading.days]
