"""Time under watch: from when to when each shoulder was watched, how that ended, and how many were at risk when something happened."""

from bisect import bisect_left
from collections import Counter, defaultdict
from collections.abc import Sequence
from math import inf
from typing import NamedTuple

CENSORED, EVENT = 0, 1  # 2 and above: other events after which this one can no longer be seen


class Span(NamedTuple):
    """At risk after `entry` up to and with `time`. `person`: whose span it is, where one person may have several."""

    time: float
    status: int
    entry: float = -inf
    person: str | None = None


class Moment(NamedTuple):
    """A time at which something happened, how many were at risk then, and how many had each event, by its status."""

    time: float
    at_risk: int
    events: Counter[int]

    @property
    def any_event(self) -> int:
        return self.events.total()


class RiskSet:
    """How many are at risk at a time: entry < time <= end. So whoever is censored at the time of an event was at risk of it, and
    who enters then was not."""

    def __init__(self, spans: Sequence[Span]) -> None:
        self.entries, self.ends = sorted(span.entry for span in spans), sorted(span.time for span in spans)

    def at(self, time: float) -> int:
        return bisect_left(self.entries, time) - bisect_left(self.ends, time)


def moments(spans: Sequence[Span]) -> list[Moment]:
    """Every time at which an event of any kind happened, in order."""
    at_risk = RiskSet(spans)
    happened: defaultdict[float, Counter[int]] = defaultdict(Counter)
    for span in spans:
        if span.status != CENSORED:
            happened[span.time][span.status] += 1
    return [Moment(time, at_risk.at(time), events) for time, events in sorted(happened.items())]


def several_spans(spans: Sequence[Span]) -> bool:
    """Whether any person has more than one."""
    persons = [span.person for span in spans if span.person is not None]
    return len(set(persons)) < len(persons)
