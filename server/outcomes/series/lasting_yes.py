"""Time from surgery to the first yes that lasts: two in a row to the question of the acceptable state. Pure counting.

Only of shoulders whose plan asks three times or more in the first year; with fewer looks an interval says nothing. The first of two yes
that follow each other is the event, and it lies between the answer before it and itself. A single last yes may not last, so such a
shoulder was last heard of at the answer before it. A revision or a death before the event ends the wait on its day, where it came before
the next planned look had closed (waiting_times.py); answers given after a revision tell of another implant. Who said yes before surgery
already is counted apart, and so is of whom nothing is known but one yes.
"""

from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from server.outcomes.arithmetic.interval_causes import NOT_YET, Event
from server.outcomes.series.acceptable import own_state
from server.outcomes.series.followed import Followed
from server.outcomes.series.sentence import Sentence
from server.outcomes.series.strip import wanted_answer
from server.outcomes.series.waiting_times import WaitingTimes, ended_by, weeks_between
from server.schedule.timepoint_code import BEFORE_SURGERY, IN_A_YEAR, TimepointCode

RECALLED = "recalled"  # the point of what was asked after surgery about the time before it
BEFORE = (str(BEFORE_SURGERY), RECALLED)
LASTING = "lasting"
LOOKS_IN_YEAR_1 = 3


@dataclass(frozen=True)
class LastingYes:
    """`planned` = `yes_before` + `one_yes` + `unanswered` + the events. Of the events, `no_baseline` did not answer before surgery."""

    planned: int
    yes_before: int
    one_yes: int
    unanswered: int
    no_baseline: int
    times: WaitingTimes

    def failed_sums(self) -> list[tuple[str, int, int]]:
        found = self.yes_before + self.one_yes + self.unanswered + len(self.times.events)
        return [("planned", self.planned, found)] if found != self.planned else []


def lasting_yes(shoulders: Iterable[Followed], sentence: Sentence, questions: Sequence[str]) -> LastingYes:
    """`questions`: the keys of the patient's yes or no."""
    known = tuple(shoulders)
    looks = {code for code in {code for each in known for code in each.points} if _is_in_year_1(code)}
    planned = [shoulder for shoulder in known if len(looks & shoulder.points.keys()) >= LOOKS_IN_YEAR_1]
    events: list[Event] = []
    apart: Counter[str] = Counter()
    for shoulder in planned:
        before = False if is_acute_fracture(shoulder) else said_before(shoulder, questions)
        answers = _answers(shoulder, sentence, questions)
        event = "yes_before" if before else _event(shoulder, answers)
        if isinstance(event, str):
            apart[event] += 1
        else:
            events.append(event)
            apart["no_baseline"] += before is None
    times = WaitingTimes(tuple(events), LASTING)
    return LastingYes(
        len(planned), apart["yes_before"], apart["one_yes"], apart["unanswered"], apart["no_baseline"], times
    )


def _is_in_year_1(text: str) -> bool:
    if text in BEFORE:
        return False
    code = TimepointCode.parse(text)
    return code.number <= IN_A_YEAR[code.unit]


def is_acute_fracture(shoulder: Followed) -> bool:
    """What is said before surgery measures the broken arm, so that nobody of them had nothing to wait for."""
    return shoulder.row.diagnosis == "acute_fracture"


def said_before(shoulder: Followed, questions: Sequence[str]) -> bool | None:
    """What was said before surgery, in whatever way and words: it tells who had nothing to wait for."""
    point = shoulder.points.get(str(BEFORE_SURGERY))
    answer = None if point is None else wanted_answer(point, Sentence())
    return own_state(answer, questions) if answer is not None and answer.on <= shoulder.surgery.on else None


def _answers(shoulder: Followed, sentence: Sentence, questions: Sequence[str]) -> list[tuple[float, bool]]:
    """The week of each yes or no after surgery and before any revision, in their order."""
    found = []
    for code, point in shoulder.points.items():
        answer = None if code in BEFORE else wanted_answer(point, sentence)
        own = None if answer is None else own_state(answer, questions)
        if answer is None or own is None:
            continue
        if shoulder.revised is None or answer.on < shoulder.revised.on:
            found.append((weeks_between(shoulder.surgery.on, answer.on), own))
    return sorted(found)


def _event(shoulder: Followed, answers: Sequence[tuple[float, bool]]) -> Event | str:
    """The event, or why the shoulder is counted apart."""
    looks = [0.0, *(week for week, _yes in answers)]
    said = [yes for _week, yes in answers]
    for number in range(len(said) - 1):
        if said[number] and said[number + 1]:
            return Event(LASTING, looks[number], looks[number + 1])
    ended = ended_by(shoulder, looks[-1])
    if ended is not None:
        return ended
    if not said:
        return "unanswered"
    heard_at = looks[-2] if said[-1] else looks[-1]
    return Event(NOT_YET, heard_at) if heard_at else "one_yes"
