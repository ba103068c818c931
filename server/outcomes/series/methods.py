"""What a methods section has to count: who, when, asked with what, how and in which windows, and what happened in between. Pure.

Every number is counted here from the same rows as the figures: the shoulders that the sentence means, and of those who take part all
planned timepoints up to the as-of day.
"""

from collections import Counter
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from datetime import date
from typing import Any

from server.outcomes.series.endpoints import NO_IMPLANT, Endpoint, never_can
from server.outcomes.series.flow import Flow
from server.outcomes.series.followed import Followed, Followings, Point
from server.outcomes.series.row import Row, people
from server.outcomes.series.strip import YEARS
from server.schedule.status import ANSWERED, Status
from server.schedule.timepoint_code import BEFORE_SURGERY

FRACTURE = "acute_fracture"
RECALLED = "recalled"  # the code of what was recalled of the time before surgery


@dataclass(frozen=True)
class Asking:
    """One version of an instrument: how many answers have a score of it, and in how many it was asked in whose words."""

    spec: str
    answers: int
    texts: Mapping[str, int]


@dataclass(frozen=True)
class Window:
    """From the first day after surgery on which it opened for anybody to the last on which it closed; days before are negative."""

    code: str
    first_day: int
    last_day: int


@dataclass(frozen=True)
class MethodsFacts:
    """`first` and `last`: the days of the first and the last operation that is meant. `answers`: the patients' own, before and after
    surgery, of which `after_years` at whole years. `by_other`:
    forms that somebody else answered alone. `both`: people with two shoulders among those who take part. `log_not_enrolled`: operations
    that the log alone knows, and `years_without` the calendar years without any operation, both from the first to the last that is meant.
    """

    first: date | None
    last: date | None
    log: int
    log_people: int
    log_not_enrolled: int
    years_without: tuple[int, ...]
    meant: int
    meant_people: int
    taking_part: int
    taking_part_people: int
    answered: int
    answered_people: int
    losses: Mapping[str, int]
    instruments: tuple[Asking, ...]
    windows: tuple[Window, ...]
    modes: Mapping[str, int]
    before: int
    after: int
    after_years: int
    recalled: int
    outside_window: int
    by_other: int
    revised: int
    revised_without_implant: int
    died: int
    fractures: int
    both: int
    lots_cast: int
    drawn: int
    drawn_answered: int


def facts_of(followings: Followings, flow: Flow) -> MethodsFacts:
    """Of everybody whom the flow means."""
    log, meant, taking_part, answered = (flow.rows_at(step) for step in ("log", "meant", "taking_part", "answered"))
    followed = [followings.of[row.operation_id or 0] for row in taking_part if (row.operation_id or 0) in followings.of]
    points = [point for each in followed for point in each.points.values()]
    own = [point for point in points if point.answer is not None and point.status in ANSWERED]
    after = [point for point in own if point.code != str(BEFORE_SURGERY) and point.status != Status.RECALLED]
    drawn = [point for point in points if point.drawn_on is not None]
    persons = Counter(row.patient_id for row in taking_part)
    return MethodsFacts(
        first=min((row.surgery_on for row in meant), default=None),
        last=max((row.surgery_on for row in meant), default=None),
        **_gaps(log, meant),
        **_steps(log=log, meant=meant, taking_part=taking_part, answered=answered),
        losses={loss.name: len(loss.rows) for loss in flow.losses},
        instruments=tuple(_instruments(own)),
        windows=tuple(_windows(followed)),
        modes=dict(Counter(point.answer.mode for point in own if point.answer is not None).most_common()),
        before=sum(point.code == str(BEFORE_SURGERY) for point in own),
        after=len(after),
        after_years=sum(point.code in YEARS.values() for point in after),
        recalled=sum(point.status == Status.RECALLED for point in own),
        outside_window=sum(point.status in (Status.EARLY, Status.LATE) for point in after),
        by_other=sum(point.by_other for point in points),
        revised=sum(each.revised is not None for each in followed),
        revised_without_implant=sum(
            each.revised is not None and never_can(each.row, Endpoint()) == NO_IMPLANT for each in followed
        ),
        died=len({each.row.patient_id for each in followed if each.died is not None}),
        fractures=sum(row.diagnosis == FRACTURE for row in taking_part),
        both=sum(shoulders > 1 for shoulders in persons.values()),
        lots_cast=sum(point.lot_cast_on is not None for point in points),
        drawn=len(drawn),
        drawn_answered=sum(point.answer is not None for point in drawn),
    )


def _gaps(log: Iterable[Row], meant: Iterable[Row]) -> dict[str, Any]:
    """What the log shows of whether the operations of these years are all in it."""
    years = [row.surgery_on.year for row in meant]
    span = range(min(years), max(years) + 1) if years else range(0)
    known = [row for row in log if row.surgery_on.year in span]
    operated = {row.surgery_on.year for row in known}
    return {
        "log_not_enrolled": sum(row.line_id is not None for row in known),
        "years_without": tuple(year for year in span if year not in operated),
    }


def _steps(**rows: Iterable[Row]) -> dict[str, Any]:
    """Operations and people of each step of the flow."""
    found: dict[str, int] = {}
    for name, of in rows.items():
        known = tuple(of)
        found |= {name: len(known), f"{name}_people": people(known)}
    return found


def _instruments(own: Iterable[Point]) -> Iterator[Asking]:
    """Those answered most first."""
    answers: Counter[str] = Counter()
    texts: dict[str, Counter[str]] = {}
    for point in own:
        if point.answer is None:
            continue
        for spec in sorted({key.partition("/")[0] for key in point.answer.scores}):
            answers[spec] += 1
            texts.setdefault(spec, Counter()).update(point.answer.texts)
    for spec, count in sorted(answers.items(), key=lambda each: (-each[1], each[0])):
        yield Asking(spec, count, dict(sorted(texts[spec].items())))


def _windows(followed: Iterable[Followed]) -> Iterator[Window]:
    """Of every planned timepoint whose window has an end, in the order of time."""
    days: dict[str, tuple[int, int]] = {}
    for each in followed:
        for code, point in each.points.items():
            if point.closes_on is None or code in (str(BEFORE_SURGERY), RECALLED):
                continue
            first, last = (point.opens_on - each.surgery.on).days, (point.closes_on - each.surgery.on).days
            known = days.get(code, (first, last))
            days[code] = min(first, known[0]), max(last, known[1])
    for code, (first, last) in sorted(days.items(), key=lambda item: (item[1], item[0])):
        yield Window(code, first, last)
