"""What a timepoint's status is, from facts alone, and which changes of it are possible.

Rules:

1. The status is computed from the facts in `Facts` and today's date. It is never stored as truth; what is stored is the
   facts, an append-only transition, and the day on which to look again.
2. An answer counts whenever it comes. Inside the window it is `answered`; before it, `early`; after it, `late`.
3. From the day on which a timepoint is no longer expected it is `not_expected`, unless its window had closed before
   (it was expected to the end) or it was answered by then (that day included). A later answer is kept and changes
   nothing.
4. A window that closed without an answer is `missed`. An answer that comes later makes it `late`.
   It is `withheld` instead when the clinic could not ask: nobody had been written to about it, and from its due day or earlier
   to the end no text of it might be sent. That is no patient's silence, and is never counted as such.
5. Every reminder of the ladder sent, no answer, window open: `non_responder`, due or not. A nurse can still rescue it.
6. Past its due day, unanswered: `overdue`.
7. `opens_on`, `due_on` and `closes_on` are inside: a timepoint is overdue on the day after `due_on` and missed on the
   day after `closes_on`.

TABLE holds every change that passing days, answers and ends can bring. A change that is not in it can only come from
facts that were put right (a surgery date, an answer under the wrong name, an end taken back): it is `corrected`.
"""

from dataclasses import dataclass
from datetime import date, timedelta
from enum import StrEnum

from server.schedule.follow_up_dates import EndReason
from server.schedule.window import WindowState


class Status(StrEnum):
    UPCOMING = "upcoming"
    OPEN = "open"
    OVERDUE = "overdue"
    NON_RESPONDER = "non_responder"
    MISSED = "missed"
    WITHHELD = "withheld"
    ANSWERED = "answered"
    EARLY = "early"
    LATE = "late"
    NOT_EXPECTED = "not_expected"


class Happened(StrEnum):
    OPENED = "opened"
    FELL_DUE = "fell_due"
    LADDER_EXHAUSTED = "ladder_exhausted"
    CLOSED = "closed"
    CLOSED_UNASKED = "closed_unasked"
    ANSWERED_IN = "answered_in"
    ANSWERED_EARLY = "answered_early"
    ANSWERED_LATE = "answered_late"
    ENDED = "ended"
    CORRECTED = "corrected"


Table = dict[Status, dict[Happened, Status]]

_ANSWERS = {
    Happened.ANSWERED_IN: Status.ANSWERED,
    Happened.ANSWERED_EARLY: Status.EARLY,
    Happened.ANSWERED_LATE: Status.LATE,
}
TABLE: Table = {
    Status.UPCOMING: {
        Happened.OPENED: Status.OPEN,
        # The next three only when nobody looked while it was open.
        Happened.FELL_DUE: Status.OVERDUE,
        Happened.LADDER_EXHAUSTED: Status.NON_RESPONDER,
        Happened.CLOSED: Status.MISSED,
        Happened.CLOSED_UNASKED: Status.WITHHELD,
        Happened.ENDED: Status.NOT_EXPECTED,
        **_ANSWERS,
    },
    Status.OPEN: {
        Happened.FELL_DUE: Status.OVERDUE,
        Happened.LADDER_EXHAUSTED: Status.NON_RESPONDER,
        Happened.CLOSED: Status.MISSED,
        Happened.CLOSED_UNASKED: Status.WITHHELD,
        Happened.ENDED: Status.NOT_EXPECTED,
        **_ANSWERS,
    },
    Status.OVERDUE: {
        Happened.LADDER_EXHAUSTED: Status.NON_RESPONDER,
        Happened.CLOSED: Status.MISSED,
        Happened.CLOSED_UNASKED: Status.WITHHELD,
        Happened.ENDED: Status.NOT_EXPECTED,
        **_ANSWERS,
    },
    Status.NON_RESPONDER: {
        Happened.CLOSED: Status.MISSED,
        Happened.ENDED: Status.NOT_EXPECTED,
        **_ANSWERS,
    },
    Status.MISSED: {
        Happened.ENDED: Status.NOT_EXPECTED,  # a death that became known after the window had closed
        **_ANSWERS,  # finished inside the window on a phone without network, received after it
    },
    Status.WITHHELD: {
        Happened.ENDED: Status.NOT_EXPECTED,
        **_ANSWERS,
    },
    Status.ANSWERED: {
        # Surgery turned out to be later or earlier than a baseline's answer had it.
        Happened.ANSWERED_EARLY: Status.EARLY,
        Happened.ANSWERED_LATE: Status.LATE,
        Happened.ENDED: Status.NOT_EXPECTED,  # the end lies before the answer
    },
    Status.EARLY: {
        Happened.ANSWERED_IN: Status.ANSWERED,
        Happened.ANSWERED_LATE: Status.LATE,
        Happened.ENDED: Status.NOT_EXPECTED,
    },
    Status.LATE: {
        Happened.ANSWERED_IN: Status.ANSWERED,
        Happened.ANSWERED_EARLY: Status.EARLY,
        Happened.ENDED: Status.NOT_EXPECTED,
    },
    Status.NOT_EXPECTED: {
        **_ANSWERS,  # finished before the end, received after it
    },
}
DONE = frozenset({Status.MISSED, Status.WITHHELD, Status.ANSWERED, Status.EARLY, Status.LATE, Status.NOT_EXPECTED})
WAITING = frozenset({Status.OPEN, Status.OVERDUE, Status.NON_RESPONDER})

_WHY = {
    Status.OPEN: Happened.OPENED,
    Status.OVERDUE: Happened.FELL_DUE,
    Status.NON_RESPONDER: Happened.LADDER_EXHAUSTED,
    Status.MISSED: Happened.CLOSED,
    Status.WITHHELD: Happened.CLOSED_UNASKED,
    Status.NOT_EXPECTED: Happened.ENDED,
    **{status: happened for happened, status in _ANSWERS.items()},
}
_ANSWERED_AS = {
    WindowState.IN: Status.ANSWERED,
    WindowState.EARLY: Status.EARLY,
    WindowState.LATE: Status.LATE,
    WindowState.RECALLED: Status.LATE,
    WindowState.OFF_SCHEDULE: Status.LATE,
}


@dataclass(frozen=True)
class Facts:
    """What is known of one timepoint.

    `answered_on` and `answered_state` stand together or not at all: the local day its counted response was finished,
    and where that lies. `ladder_exhausted_on`: the day its last reminder went out. `not_expected_on`: the day from
    which it is not expected (its follow-up's end), with the reason. `unasked_on`: the day since which its form stays back,
    nobody having been written to about it. ValueError when they contradict each other.
    """

    opens_on: date
    due_on: date
    closes_on: date | None
    answered_on: date | None = None
    answered_state: WindowState | None = None
    ladder_exhausted_on: date | None = None
    not_expected_on: date | None = None
    not_expected_reason: EndReason | None = None
    unasked_on: date | None = None

    def __post_init__(self) -> None:
        if (self.answered_on is None) != (self.answered_state is None):
            raise ValueError("an answer has a day and a window state, or there is none")
        if self.due_on < self.opens_on or (self.closes_on is not None and self.closes_on < self.due_on):
            raise ValueError("a timepoint opens, is due and closes in this order")


@dataclass(frozen=True)
class Transition:
    """One row of the history: what happened, and the status before and after."""

    before: Status
    happened: Happened
    after: Status


def status(facts: Facts, today: date) -> Status:
    """The status on the clinic's day `today`. Total: every valid Facts has exactly one on every day."""
    end = _end_inside_window(facts)
    answered_in_time = facts.answered_on is not None and (end is None or facts.answered_on <= end)
    if end is not None and end <= today and not answered_in_time:
        return Status.NOT_EXPECTED
    if facts.answered_state is not None:
        return _ANSWERED_AS[facts.answered_state]
    if facts.closes_on is not None and today > facts.closes_on:
        return Status.WITHHELD if _could_not_be_asked(facts) else Status.MISSED
    if today < facts.opens_on:
        return Status.UPCOMING
    if facts.ladder_exhausted_on is not None and facts.ladder_exhausted_on <= today:
        return Status.NON_RESPONDER
    return Status.OVERDUE if today > facts.due_on else Status.OPEN


def transition(before: Status, facts: Facts, today: date) -> Transition | None:
    """What to write down when the last known status was `before`; None when it still holds.

    One step however long nobody looked: the days in between follow from the facts and were never acted on.
    """
    after = status(facts, today)
    if after == before:
        return None
    happened = _WHY.get(after, Happened.CORRECTED)
    if TABLE[before].get(happened) != after:
        happened = Happened.CORRECTED
    return Transition(before, happened, after)


def look_again_on(facts: Facts, today: date) -> date | None:
    """The next day after `today` on which the status differs if no new fact arrives; None when it never will."""
    now = status(facts, today)
    return next((day for day in _turning_days(facts) if day > today and status(facts, day) != now), None)


def is_done(facts: Facts, today: date) -> bool:
    """True when nobody need look any more, on this day or later, unless a new fact arrives."""
    return status(facts, today) in DONE and look_again_on(facts, today) is None


def days_left(facts: Facts, today: date) -> int | None:
    """Days until the window closes, 0 on its last day; None without a closing day."""
    return None if facts.closes_on is None else (facts.closes_on - today).days


def diagram(table: Table = TABLE) -> str:
    """The table as a Mermaid state diagram, one line for each change."""
    lines = ["stateDiagram-v2", f"    [*] --> {Status.UPCOMING}"]
    for before, changes in table.items():
        lines += [f"    {before} --> {after}: {happened}" for happened, after in changes.items()]
    return "\n".join(lines) + "\n"


def _end_inside_window(facts: Facts) -> date | None:
    """The day it is no longer expected, if its window had not closed before."""
    end = facts.not_expected_on
    return None if end is None or (facts.closes_on is not None and facts.closes_on < end) else end


def _could_not_be_asked(facts: Facts) -> bool:
    """By rule 4, of a window that has closed."""
    return facts.unasked_on is not None and facts.unasked_on <= facts.due_on and facts.ladder_exhausted_on is None


def _turning_days(facts: Facts) -> list[date]:
    """Every day on which the status can change: all it is compared with, and the day after a day that is inside."""
    days = [facts.opens_on, facts.ladder_exhausted_on, facts.not_expected_on, facts.due_on + timedelta(days=1)]
    if facts.closes_on is not None:
        days.append(facts.closes_on + timedelta(days=1))
    return sorted(day for day in days if day is not None)
