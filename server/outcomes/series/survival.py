"""Implant survival of a series: the two curves, who was watched at each time, and how much the answer depends on how the record is read.

Two questions of the same spans. Were nobody to die: a death ends the watch like any other leaving. As it was: a death is what happened
instead of a revision. For a named kind of revision all others compete in both.
"""

from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from math import ceil
from typing import NamedTuple

from server.outcomes.arithmetic.incidence import aalen_johansen, incidence_without_errors
from server.outcomes.arithmetic.poisson import Count, poisson_limits
from server.outcomes.arithmetic.spans import CENSORED, EVENT, Span, several_spans
from server.outcomes.arithmetic.survival import follow_up_median, kaplan_meier, log_log_limits, robust_survival_se
from server.outcomes.figures.fade import FULL_FROM, SHOWN_FROM
from server.outcomes.series.endpoints import Endpoint
from server.outcomes.series.followed import Followed
from server.outcomes.series.watch import (
    DEATH,
    ENDS,
    OTHER_REVISION,
    NotWatched,
    Reading,
    Watched,
    concerns,
    first_shoulders,
    watch,
)

FEWEST_PERSONS = 20  # below it no limits are better than the narrow ones of a small jackknife
ANSWERED_AT = (1, 2, 5, 10, 15, 20)  # the years at which the answer is told in words
_READINGS: Mapping[str, Reading] = {
    "confirmed": Reading(confirmed=True),
    "first_shoulder": Reading(),
    "known_to_the_end": Reading(known_to_the_end=True),
    "planned_looks": Reading(planned_looks=True),
    "shortest": Reading(days="shortest"),
    "longest": Reading(days="longest"),
    "said_counts": Reading(said_counts=True),
}
Run = tuple[float, float]


class CurvePoint(NamedTuple):
    """From `time` on, in years. Limits are None where none can be formed."""

    time: float
    share: float
    lower: float | None
    upper: float | None


@dataclass(frozen=True)
class Curve:
    """A step for each time at which anything happened, the first at the start with a share of 0."""

    points: tuple[CurvePoint, ...]

    def at(self, time: float) -> CurvePoint:
        return [point for point in self.points if point.time <= time][-1]


@dataclass(frozen=True)
class Standing:
    """How all that ever entered stand just after a time: each `watched`, or ended by one of the others."""

    time: float
    watched: int
    entered: int
    events: int
    other_revisions: int
    died: int
    left: int


@dataclass(frozen=True)
class Drawn:
    """What can be drawn: from `start`, the first time with SHOWN_FROM watched, to `end`, when there are fewer. `full`: where FULL_FROM are.

    `answered_at`: the time at which the answer is told in words. `deaths`: the share that died unrevised from each time on. `limits`:
    whether there are people enough for any.
    """

    start: float
    end: float
    full: tuple[Run, ...]
    answered_at: float
    nobody_died: Curve
    as_it_was: Curve
    deaths: tuple[tuple[float, float], ...]
    limits: bool


@dataclass(frozen=True)
class Survival:
    """Of `followed` shoulders each is `watched` or `apart`. `drawn`: None where there were never enough at one time."""

    endpoint: Endpoint
    as_of: date
    followed: tuple[Followed, ...]
    watched: tuple[Watched, ...]
    apart: tuple[NotWatched, ...]
    drawn: Drawn | None

    @property
    def people(self) -> int:
        return len({each.followed.row.patient_id for each in self.watched})

    @property
    def by_person(self) -> bool:
        """Whether anybody counts twice."""
        return self.people < len(self.watched)

    @property
    def component_years(self) -> float:
        return sum(each.time - each.entry for each in self.watched)

    @property
    def follow_up(self) -> float | None:
        """Its median in years, by the reverse Kaplan-Meier."""
        return follow_up_median([each.span for each in self.watched])

    @property
    def known(self) -> int:
        """How many are known to the end of what can be known: to an event, to death, or within the last two years."""
        return sum(self.ended(end) for end in ("event", "other_revision", "died", "in_place"))

    def ended(self, end: str) -> int:
        return sum(each.end == end for each in self.watched)

    def set_apart(self, reason: str) -> int:
        return sum(each.reason == reason for each in self.apart)

    def event_limits(self) -> Count:
        """Exact Poisson limits of the number of events."""
        return poisson_limits(self.ended("event"))

    def standing(self, time: float) -> Standing:
        ended = Counter([each.status for each in self.watched if each.time <= time])
        entered = [each for each in self.watched if each.entry <= time]
        return Standing(
            time,
            len([each for each in entered if time < each.time]),
            len(entered),
            *(ended[status] for status in (EVENT, OTHER_REVISION, DEATH, CENSORED)),
        )

    def standings(self) -> tuple[Standing, ...]:
        """At the start and at each whole year up to the end of what is drawn."""
        if self.drawn is None:
            return ()
        years = range(int(self.drawn.start) + 1, int(self.drawn.end) + 1)
        return tuple(self.standing(time) for time in (self.drawn.start, *years))

    def failed_sums(self) -> list[tuple[str, float, int, int]]:
        """Each sum that does not hold: its name, at which time, what there should be, what there is."""
        failed = []
        whole = len(self.watched) + len(self.apart)
        if whole != len(self.followed):
            failed.append(("followed", 0.0, len(self.followed), whole))
        ends = sum(self.ended(end) for end in ENDS)
        if ends != len(self.watched):
            failed.append(("ends", 0.0, len(self.watched), ends))
        for at in self.standings():
            left = at.entered - at.events - at.other_revisions - at.died - at.left
            if left != at.watched:
                failed.append(("watched", at.time, at.watched, left))
        return failed


@dataclass(frozen=True)
class Sensitivity:
    """The first question asked of the record read in another way; `share` is None where too few are watched at the time."""

    name: str
    watched: int
    events: int
    share: float | None


def survival_of(
    followed: Iterable[Followed], endpoint: Endpoint, as_of: date, reading: Reading | None = None
) -> Survival:
    """Everything a figure of implant survival tells of these shoulders."""
    shoulders = tuple(followed)
    found = [watch(each, endpoint, as_of, reading or Reading()) for each in shoulders]
    watched = tuple(each for each in found if isinstance(each, Watched))
    apart = tuple(each for each in found if isinstance(each, NotWatched))
    return Survival(endpoint, as_of, shoulders, watched, apart, _drawn(watched, endpoint))


def sensitivities(found: Survival) -> list[Sensitivity]:
    """What the answer to the first question would be, were the record read in each of the other ways; without limits of its own."""
    answers = []
    as_read: dict[Followed, Watched | NotWatched] = {each.followed: each for each in found.watched}
    as_read.update({each.followed: each for each in found.apart})
    for name, reading in _READINGS.items():
        of = first_shoulders(each.followed for each in found.watched) if name == "first_shoulder" else found.followed
        again = [
            watch(each, found.endpoint, found.as_of, reading) if concerns(each, reading) else as_read[each]
            for each in of
        ]
        watched = [each for each in again if isinstance(each, Watched)]
        events = sum(each.status == EVENT for each in watched)
        answers.append(Sensitivity(name, len(watched), events, _share(watched, found.drawn)))
    return answers


def _share(watched: Sequence[Watched], drawn: Drawn | None) -> float | None:
    """At the same time and from the same start as the answer itself, where SHOWN_FROM are watched then."""
    if drawn is None:
        return None
    since, until = drawn.start, drawn.answered_at
    if sum(each.entry < until <= each.time for each in watched) < SHOWN_FROM:
        return None
    spans = [
        Span(min(each.time, until), CENSORED if each.time > until else each.status, max(each.entry, since))
        for each in watched
        if each.time > since and each.entry < until
    ]
    steps = incidence_without_errors(_deaths_censored(spans), EVENT)
    return steps[-1][1] if steps else 0.0


def _drawn(watched: Sequence[Watched], endpoint: Endpoint) -> Drawn | None:
    runs = _runs(watched, SHOWN_FROM)
    if not runs:
        return None
    start, end = runs[0]
    spans = _from(watched, start, end)
    full = [(max(run[0], start), min(run[1], end)) for run in _runs(watched, FULL_FROM)]
    return Drawn(
        start,
        end,
        tuple(run for run in full if run[0] < run[1]),
        _answered_at(full, start, end),
        _nobody_died(spans, start, endpoint),
        _incidence(spans, start, EVENT),
        ((start, 0.0), *incidence_without_errors(spans, DEATH)),
        _enough(spans),
    )


def _answered_at(full: Sequence[Run], start: float, end: float) -> float:
    """The last of ANSWERED_AT up to which the curve is full; else the last that it reaches; else its end."""
    reached: list[float] = [year for year in ANSWERED_AT if start < year <= end]
    sure = [year for year in reached if any(run[0] <= year <= run[1] for run in full)]
    return float((sure or reached or [end])[-1])


def _runs(watched: Sequence[Watched], least: int) -> list[Run]:
    """From when to when at least so many are watched at once. Whoever enters at a time is watched after it."""
    changes = sorted([(each.entry, 1) for each in watched] + [(each.time, -1) for each in watched])
    found: list[Run] = []
    now, since = 0, None
    for place, (time, change) in enumerate(changes):
        now += change
        if place + 1 < len(changes) and changes[place + 1][0] == time:
            continue
        if now >= least and since is None:
            since = time
        elif now < least and since is not None:
            found.append((since, time))
            since = None
    return found


def _from(watched: Iterable[Watched], start: float, end: float) -> list[Span]:
    """What of the spans lies after `start`, and what happened after `end` as not seen: nothing is drawn of it."""
    spans = [each.span for each in watched if each.time > start and each.entry < end]
    begun = [span._replace(entry=max(span.entry, start)) for span in spans]
    return [span if span.time <= end else span._replace(time=end, status=CENSORED) for span in begun]


def _enough(spans: Sequence[Span]) -> bool:
    return len({span.person for span in spans}) >= FEWEST_PERSONS


def _nobody_died(spans: Sequence[Span], start: float, endpoint: Endpoint) -> Curve:
    """Deaths censored: one less Kaplan-Meier, or where other revisions compete the incidence."""
    alive = _deaths_censored(spans)
    if endpoint.others_compete:
        return _incidence(alive, start, EVENT)
    steps = kaplan_meier(alive)
    robust = robust_survival_se(alive) if several_spans(alive) else [step.se for step in steps]
    points, enough = [CurvePoint(start, 0.0, None, None)], _enough(spans)
    for step, error in zip(steps, robust, strict=True):
        lower, upper = log_log_limits(step.survival, error if enough else None)
        limits = (None, None) if lower is None or upper is None else (1 - upper, 1 - lower)
        points.append(CurvePoint(step.time, 1 - step.survival, *limits))
    return Curve(tuple(points))


def _deaths_censored(spans: Sequence[Span]) -> list[Span]:
    return [span._replace(status=CENSORED) if span.status == DEATH else span for span in spans]


def _incidence(spans: Sequence[Span], start: float, cause: int) -> Curve:
    points, enough = [CurvePoint(start, 0.0, None, None)], _enough(spans)
    for step in aalen_johansen(spans, cause):
        limits = log_log_limits(step.incidence, step.se if enough else None)
        points.append(CurvePoint(step.time, step.incidence, *limits))
    return Curve(tuple(points))


def top_of_scale(drawn: Drawn) -> float:
    """The share up to which both panels reach: the next ten in a hundred over everything that they draw, at least one ten."""
    shares = [point.upper or point.share for curve in (drawn.nobody_died, drawn.as_it_was) for point in curve.points]
    highest = max(*shares, *(share for _time, share in drawn.deaths))
    return min(1.0, max(1, ceil(round(highest * 10, 6))) / 10)
