"""Weeks from surgery until somebody is back at work, at sport and driving, as patients say in the form `return`. Pure counting.

Of whoever worked, played or drove before, each is one event:

- back, at the week they tell. Without a week, or with one that their own earlier "not yet" or the day of the answer rules out, it lies
  between these two looks.
- `will_not`: they will not go back for another reason, such as retirement, which lies between the last "not yet" and that answer.
- revised, or dead, on its day, where that came before the next planned look had closed (waiting_times.py); answers given after a
  revision tell of another implant.
- not yet, when last heard of.

Who did not work, play or drive before is counted apart by their first answer, and nobody is counted as waiting who never waits.
"""

from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from itertools import takewhile

from server.outcomes.arithmetic.interval_causes import NOT_YET, Event
from server.outcomes.series.followed import Followed
from server.outcomes.series.waiting_times import DAY_0, WaitingTimes, ended_by, weeks_between

INSTRUMENT = "return"
ACTIVITIES = ("work", "sport", "driving")
ITEMS: Mapping[str, tuple[str, str]] = {"work": ("1", "1a"), "sport": ("2", "2a"), "driving": ("3", "3a")}
BACK, WILL_NOT = "back", "will_not"
YES, NO, NOT_AGAIN, NOT_BEFORE = 1, 0, 2, 3  # the codes of the form
OF_A_WEEK = 1  # by how much a week that is told may differ from what the looks allow: people round


@dataclass(frozen=True)
class Told:
    """One answer to the form: by activity the code, and the week where one was told."""

    on: date
    codes: Mapping[str, int]
    weeks: Mapping[str, int]


@dataclass(frozen=True)
class Returned:
    """One activity over all who were asked. `told_otherwise`: whose week did not fit their own looks.

    `asked` = `did_not` + `unanswered` + the events.
    """

    activity: str
    asked: int
    did_not: int
    unanswered: int
    told_otherwise: int
    times: WaitingTimes

    def failed_sums(self) -> list[tuple[str, int, int]]:
        found = self.did_not + self.unanswered + len(self.times.events)
        return [("asked", self.asked, found)] if found != self.asked else []


def returned(asked: Sequence[tuple[Followed, Sequence[Told]]], activity: str) -> Returned:
    """`asked`: the shoulders whose plan asks, each with what was told of it."""
    events: list[Event] = []
    apart: Counter[str] = Counter()
    for shoulder, told in asked:
        answers = _answers(shoulder, told, activity)
        if not answers:
            apart["unanswered"] += 1
        elif answers[0][1] == NOT_BEFORE:
            apart["did_not"] += 1
        else:
            event, fits = _event(answers)
            events.append(event if event.cause != NOT_YET else ended_by(shoulder, event.left) or event)
            apart["otherwise"] += not fits
    times = WaitingTimes(tuple(events), BACK)
    return Returned(activity, len(asked), apart["did_not"], apart["unanswered"], apart["otherwise"], times)


def _answers(shoulder: Followed, told: Sequence[Told], activity: str) -> list[tuple[float, int, int | None]]:
    """By time: the week of each answer before any revision, its code, and the week it tells."""
    until = shoulder.revised
    before = takewhile(lambda each: until is None or each.on < until.on, sorted(told, key=lambda each: each.on))
    return [
        (weeks_between(shoulder.surgery.on, each.on), each.codes[activity], each.weeks.get(activity))
        for each in before
        if activity in each.codes
    ]


def _event(answers: Sequence[tuple[float, int, int | None]]) -> tuple[Event, bool]:
    """What happened first, and whether a week that was told fits the looks."""
    last_not_yet = 0.0
    for at, code, week in answers:
        if code == YES:
            return _back(last_not_yet, at, week)
        if code == NOT_AGAIN:
            return Event(WILL_NOT, last_not_yet, at), True
        if code == NO:
            last_not_yet = at
    return Event(NOT_YET, last_not_yet), True


def _back(last_not_yet: float, at: float, week: int | None) -> tuple[Event, bool]:
    if week is None:
        return Event(BACK, last_not_yet, at), True
    if not last_not_yet - OF_A_WEEK <= week <= at + OF_A_WEEK:
        return Event(BACK, last_not_yet, at), False
    exact = max(float(week), DAY_0)
    return Event(BACK, exact, exact), True
