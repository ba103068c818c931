"""What a timepoint's status is, why and since when, from facts alone, and which changes of it are possible.

Rules:

1. Status, reason and since are computed from the facts in `Facts` and today's date, by `standing`. They are never stored as truth; what
   is stored is the facts, an append-only transition, and the day on which to look again.
2. An answer counts whenever it comes. Inside the window it is `answered`; before it, `early`; after it, `late`; a before-surgery answer
   given after surgery is `recalled`.
3. From the day on which a timepoint is no longer expected it is `not_expected`, unless its window had closed before
   (it was expected to the end) or it was answered by then (that day included). A later answer is kept and changes
   nothing.
4. A window that closed without an answer is `missed` if somebody was asked: a message, a letter or a call reached the patient in the
   window, or the form was fetched. Otherwise it is `never_asked`, which is no patient's silence and is never counted as such. An
   answer that comes later makes either `late`. Why nobody was asked, the first of:
   - the window had closed before the follow-up began (`enrolled_later`),
   - the form of the shoulder's other follow-up is sent in its place (`other_form`, server.schedule.clocks),
   - from its due day or earlier to the end no text of it might be sent (`text_withheld`),
   - what asked, asked about the other shoulder, since the side of the operation was put right later (`asked_about_other_side`),
   - whatever was tried reached nobody, or nothing was tried (`patient_not_reached`).
   Why nobody answered who was asked, the first of: what the last try to reach the patient brought (`declined`, `too_ill`, `language`,
   `no_device`), the link opened while it showed the form (`opened_not_finished`), the window closed after the last contact with a patient
   who is lost (`lost`), nothing of that (`no_answer`).
5. Every reminder of the ladder sent, no answer, window open: `non_responder`, due or not. A nurse can still rescue it.
6. Past its due day, unanswered: `overdue`. A form that is not to be sent is nobody's delay: it stays `open`.
7. `opens_on`, `due_on` and `closes_on` are inside: a timepoint is overdue on the day after `due_on` and missed on the
   day after `closes_on`.
8. Only what is still to come (`upcoming`) has no day since which it is so.

TABLE holds every change that passing days, answers and ends can bring. A change that is not in it can only come from
facts that were put right (a surgery date, an answer under the wrong name, an end taken back): it is `corrected`.
"""

from collections.abc import Mapping
from dataclasses import dataclass, replace
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
    NEVER_ASKED = "never_asked"
    ANSWERED = "answered"
    EARLY = "early"
    LATE = "late"
    RECALLED = "recalled"
    NOT_EXPECTED = "not_expected"


class Reason(StrEnum):
    """Why a timepoint stands as it does. `other_form` and `other_answer`: of the shoulder's other follow-up."""

    NOT_YET_OPEN = "not_yet_open"
    IN_WINDOW = "in_window"
    PAST_DUE = "past_due"
    REMINDERS_ENDED = "reminders_ended"
    TEXT_WITHHELD = "text_withheld"
    OTHER_FORM = "other_form"
    OTHER_ANSWER = "other_answer"
    BEFORE_WINDOW = "before_window"
    AFTER_WINDOW = "after_window"
    AFTER_SURGERY = "after_surgery"
    NO_ANSWER = "no_answer"
    DECLINED = "declined"
    TOO_ILL = "too_ill"
    LANGUAGE = "language"
    NO_DEVICE = "no_device"
    OPENED_NOT_FINISHED = "opened_not_finished"
    LOST = "lost"
    ENROLLED_LATER = "enrolled_later"
    OTHER_SIDE = "asked_about_other_side"
    NOT_REACHED = "patient_not_reached"
    DIED = "died"
    WITHDREW = "withdrew"
    TRANSFERRED = "transferred"
    CANCELLED = "cancelled"
    CAPACITY_LOST = "capacity_lost"
    NO_FOLLOW_UP = "no_follow_up"
    TAKEN_BACK = "taken_back"


class Happened(StrEnum):
    OPENED = "opened"
    FELL_DUE = "fell_due"
    LADDER_EXHAUSTED = "ladder_exhausted"
    CLOSED = "closed"
    CLOSED_UNASKED = "closed_unasked"
    ANSWERED_IN = "answered_in"
    ANSWERED_EARLY = "answered_early"
    ANSWERED_LATE = "answered_late"
    ANSWERED_RECALLED = "answered_recalled"
    ENDED = "ended"
    CORRECTED = "corrected"


Table = dict[Status, dict[Happened, Status]]

_ANSWERS = {
    Happened.ANSWERED_IN: Status.ANSWERED,
    Happened.ANSWERED_EARLY: Status.EARLY,
    Happened.ANSWERED_LATE: Status.LATE,
    Happened.ANSWERED_RECALLED: Status.RECALLED,
}
TABLE: Table = {
    Status.UPCOMING: {
        Happened.OPENED: Status.OPEN,
        # The next three only when nobody looked while it was open.
        Happened.FELL_DUE: Status.OVERDUE,
        Happened.LADDER_EXHAUSTED: Status.NON_RESPONDER,
        Happened.CLOSED: Status.MISSED,
        Happened.CLOSED_UNASKED: Status.NEVER_ASKED,
        Happened.ENDED: Status.NOT_EXPECTED,
        **_ANSWERS,
    },
    Status.OPEN: {
        Happened.FELL_DUE: Status.OVERDUE,
        Happened.LADDER_EXHAUSTED: Status.NON_RESPONDER,
        Happened.CLOSED: Status.MISSED,
        Happened.CLOSED_UNASKED: Status.NEVER_ASKED,
        Happened.ENDED: Status.NOT_EXPECTED,
        **_ANSWERS,
    },
    Status.OVERDUE: {
        Happened.LADDER_EXHAUSTED: Status.NON_RESPONDER,
        Happened.CLOSED: Status.MISSED,
        Happened.CLOSED_UNASKED: Status.NEVER_ASKED,
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
    Status.NEVER_ASKED: {
        Happened.CLOSED: Status.MISSED,  # that somebody was asked came to light later
        Happened.ENDED: Status.NOT_EXPECTED,
        **_ANSWERS,
    },
    # Surgery turned out to be later or earlier than a baseline's answer had it, or the end lies before the answer.
    **{
        status: {
            **{happened: other for happened, other in _ANSWERS.items() if other != status},
            Happened.ENDED: Status.NOT_EXPECTED,
        }
        for status in _ANSWERS.values()
    },
    Status.NOT_EXPECTED: {
        **_ANSWERS,  # finished before the end, received after it
    },
}
# What a last try can have brought that says why no answer came.
_SAID = {each.value: each for each in (Reason.DECLINED, Reason.TOO_ILL, Reason.LANGUAGE, Reason.NO_DEVICE)}
ANSWERED = frozenset(_ANSWERS.values())
DONE = frozenset({Status.MISSED, Status.NEVER_ASKED, Status.NOT_EXPECTED, *ANSWERED})
WAITING = frozenset({Status.OPEN, Status.OVERDUE, Status.NON_RESPONDER})

_WHY = {
    Status.OPEN: Happened.OPENED,
    Status.OVERDUE: Happened.FELL_DUE,
    Status.NON_RESPONDER: Happened.LADDER_EXHAUSTED,
    Status.MISSED: Happened.CLOSED,
    Status.NEVER_ASKED: Happened.CLOSED_UNASKED,
    Status.NOT_EXPECTED: Happened.ENDED,
    **{status: happened for happened, status in _ANSWERS.items()},
}
_ANSWERED_AS: Mapping[str, tuple[Status, Reason]] = {
    WindowState.IN: (Status.ANSWERED, Reason.IN_WINDOW),
    WindowState.EARLY: (Status.EARLY, Reason.BEFORE_WINDOW),
    WindowState.LATE: (Status.LATE, Reason.AFTER_WINDOW),
    WindowState.RECALLED: (Status.RECALLED, Reason.AFTER_SURGERY),
    WindowState.OFF_SCHEDULE: (Status.LATE, Reason.AFTER_WINDOW),
}


@dataclass(frozen=True)
class Facts:
    """What is known of one timepoint.

    `answered_on` and `answered_state` stand together or not at all: the local day its counted response was finished,
    and where that lies; `other_answer`: that response is to the form of the shoulder's other follow-up. `asked_on`: the first day of the
    window on which the patient was reached about it, or the form fetched. `ladder_exhausted_on`: the day its last reminder went
    out. `not_expected_on`: the day from which it is not expected (its follow-up's end), with the reason. `withheld_on`: the day since
    which its form stays back for a text. `historical`: its window had closed before the follow-up began. `other_form`: the form of
    the shoulder's other follow-up is sent in its place. ValueError when they contradict each other.

    For a reason only: what came of the last try to reach the patient about it, the first day of the window on which its form was fetched,
    the day of the last contact with somebody who is lost, and whether it was asked about the other shoulder.
    """

    opens_on: date
    due_on: date
    closes_on: date | None
    answered_on: date | None = None
    answered_state: WindowState | None = None
    asked_on: date | None = None
    ladder_exhausted_on: date | None = None
    not_expected_on: date | None = None
    not_expected_reason: EndReason | None = None
    withheld_on: date | None = None
    historical: bool = False
    other_form: bool = False
    other_answer: bool = False
    last_try: str | None = None
    fetched_on: date | None = None
    lost_on: date | None = None
    other_side: bool = False

    def __post_init__(self) -> None:
        if (self.answered_on is None) != (self.answered_state is None):
            raise ValueError("an answer has a day and a window state, or there is none")
        if (self.not_expected_on is None) != (self.not_expected_reason is None):
            raise ValueError("a timepoint is not expected from a day on and for a reason, or it is expected")
        if self.due_on < self.opens_on or (self.closes_on is not None and self.closes_on < self.due_on):
            raise ValueError("a timepoint opens, is due and closes in this order")


@dataclass(frozen=True)
class Standing:
    """`since` is None only for what is still to come."""

    status: Status
    reason: Reason
    since: date | None


@dataclass(frozen=True)
class Transition:
    """One row of the history: what happened, and the status before and after."""

    before: Status
    happened: Happened
    after: Status


def status(facts: Facts, today: date) -> Status:
    """The status on the clinic's day `today`."""
    return standing(facts, today).status


def answered_as(state: str) -> Status:
    """How an answer in this window state stands that came before any end, by rule 2."""
    return _ANSWERED_AS[state][0]


def standing(facts: Facts, today: date) -> Standing:
    """Status, reason and since on the clinic's day `today`. Total: every valid Facts has exactly one on every day."""
    end = _end_inside_window(facts)
    answered_in_time = facts.answered_on is not None and (end is None or facts.answered_on <= end)
    if end is not None and end <= today and not answered_in_time:
        return Standing(Status.NOT_EXPECTED, Reason(str(facts.not_expected_reason)), end)
    if facts.answered_state is not None:
        stands, reason = _ANSWERED_AS[facts.answered_state]
        return Standing(stands, Reason.OTHER_ANSWER if facts.other_answer else reason, facts.answered_on)
    if facts.closes_on is not None and today > facts.closes_on:
        since = facts.closes_on + timedelta(days=1)
        why = _why_unasked(facts)
        return Standing(Status.NEVER_ASKED, why, since) if why else Standing(Status.MISSED, _why_silent(facts), since)
    if today < facts.opens_on:
        return Standing(Status.UPCOMING, Reason.NOT_YET_OPEN, None)
    return _waiting(facts, today)


def _waiting(facts: Facts, today: date) -> Standing:
    """Of a window that is open, without an answer."""
    if facts.other_form:
        return Standing(Status.OPEN, Reason.OTHER_FORM, facts.opens_on)
    withheld = facts.withheld_on is not None and facts.withheld_on <= today and facts.asked_on is None
    if facts.ladder_exhausted_on is not None and facts.ladder_exhausted_on <= today:
        found = Standing(Status.NON_RESPONDER, Reason.REMINDERS_ENDED, facts.ladder_exhausted_on)
    elif today > facts.due_on:
        found = Standing(Status.OVERDUE, Reason.PAST_DUE, facts.due_on + timedelta(days=1))
    else:
        found = Standing(Status.OPEN, Reason.IN_WINDOW, facts.opens_on)
    return replace(found, reason=Reason.TEXT_WITHHELD) if withheld else found


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


def _why_unasked(facts: Facts) -> Reason | None:
    """By rule 4, of a window that has closed without an answer; None when somebody was asked."""
    asked_in_window = facts.asked_on is not None and (facts.closes_on is None or facts.asked_on <= facts.closes_on)
    if asked_in_window or facts.ladder_exhausted_on is not None:
        return None
    if facts.historical:
        return Reason.ENROLLED_LATER
    if facts.other_form:
        return Reason.OTHER_FORM
    if facts.withheld_on is not None and facts.withheld_on <= facts.due_on:
        return Reason.TEXT_WITHHELD
    return Reason.OTHER_SIDE if facts.other_side else Reason.NOT_REACHED


def _why_silent(facts: Facts) -> Reason:
    """By rule 4, of a window that has closed without an answer though somebody was asked."""
    if facts.last_try in _SAID:
        return _SAID[facts.last_try]
    if facts.fetched_on is not None:
        return Reason.OPENED_NOT_FINISHED
    lost = facts.lost_on is not None and facts.closes_on is not None and facts.lost_on <= facts.closes_on
    return Reason.LOST if lost else Reason.NO_ANSWER


def _turning_days(facts: Facts) -> list[date]:
    """Every day on which the status can change: all it is compared with, and the day after a day that is inside."""
    days = [facts.opens_on, facts.ladder_exhausted_on, facts.not_expected_on, facts.due_on + timedelta(days=1)]
    if facts.closes_on is not None:
        days.append(facts.closes_on + timedelta(days=1))
    return sorted(day for day in days if day is not None)
