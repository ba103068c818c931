"""What the figure of recovery is drawn from: counts and shares with their words."""

from collections.abc import Mapping, Sequence
from math import ceil

from server.outcomes.arithmetic.interval_causes import NOT_YET
from server.outcomes.figures.fade import SHOWN_FROM
from server.outcomes.figures.recovery_layout import Counts, RecoveryFigure, WindowShare
from server.outcomes.figures.weeks_layout import QUARTER, Rise, WeekSteps
from server.outcomes.series.lasting_yes import LASTING, LastingYes
from server.outcomes.series.recovery import Recovery, Window
from server.outcomes.series.returns import BACK, WILL_NOT, Returned
from server.outcomes.series.sentence import Sentence
from server.outcomes.series.waiting_times import DIED, REVISED, WaitingTimes
from server.staff.page import words
from server.staff.series.acceptable_words import STATES, state_words
from server.staff.series.recovery_words import HEADINGS, WINDOWS, question, says, week_number
from server.staff.series.share_words import percent
from server.words.phrase import Phrase, phrase

SHORT: Mapping[str, Phrase] = {
    "work": phrase("work"),
    "sport": phrase("sport"),
    "driving": phrase("driving"),
    "lasting": phrase("yes twice"),
}
YEAR, TWO_YEARS = 52, 104
# How a wait ended, for whoever waited: the event itself first.
ENDS: Mapping[str, tuple[tuple[str, ...], Phrase]] = {
    "had": ((BACK, LASTING), phrase("back, or said yes twice")),
    "will_not": ((WILL_NOT,), phrase("will not, for another reason")),
    "revised": ((REVISED,), phrase("revised first")),
    "dead": ((DIED,), phrase("dead first")),
    "not_yet": ((NOT_YET,), phrase("not yet, when last heard of")),
}


def recovery_figure(recovery: Recovery, sentence: Sentence) -> RecoveryFigure:
    """Windows with their counts; steps of whom there are enough; and how every wait ended, drawn or not."""
    waits = [each for each in _waits(recovery) if len(each[1].events) >= SHOWN_FROM]
    horizon = _horizon([_last(times) for _name, times in waits])
    told = _told(recovery)
    return RecoveryFigure(
        title=question(),
        heading=words.gettext("Acceptable"),
        lead=words.gettext("share by their own answer at each window, in percent, with %(level)s %% limits")
        % {"level": 95},
        windows=tuple(map(_window, recovery.windows)),
        rows=tuple(_window_rows(recovery.windows, sentence)),
        steps=tuple(_steps(name, times, horizon) for name, times in waits),
        axis_title=words.gettext("Weeks after surgery"),
        horizon=horizon,
        columns=tuple((words.say(HEADINGS[name]), words.say(SHORT[name])) for name, _times in told),
        by_event=tuple(_end_rows(recovery, told)),
        description=" ".join(says(recovery)),
    )


def _waits(recovery: Recovery) -> list[tuple[str, WaitingTimes]]:
    return [*((each.activity, each.times) for each in recovery.returns), ("lasting", recovery.lasting.times)]


def _told(recovery: Recovery) -> list[tuple[str, WaitingTimes]]:
    """Those of which somebody was asked: they are counted even where they are too few to draw."""
    asked = {each.activity for each in recovery.returns if each.asked}
    return [
        each for each in _waits(recovery) if each[0] in asked or (each[0] == "lasting" and recovery.lasting.planned)
    ]


def _window(window: Window) -> WindowShare:
    full, short = WINDOWS[window.code]
    share = window.standings.acceptable
    limits = (None, None, None) if share is None else (share.estimate, share.lower, share.upper)
    return WindowShare(words.say(full), words.say(short), window.standings.basis, *limits)


def _window_rows(windows: Sequence[Window], sentence: Sentence) -> list[Counts]:
    rows = [
        Counts(state_words(state, sentence), tuple(str(window.standings.counts[state]) for window in windows))
        for state in STATES
    ]
    closed = tuple(str(window.come) for window in windows)
    rows.append(Counts(words.gettext("whose window has closed"), closed, strong=True))
    rows.append(Counts(words.gettext("still to come"), tuple(str(window.to_come) for window in windows)))
    not_planned = tuple(str(window.not_planned) for window in windows)
    return [*rows, Counts(words.gettext("no such window, or takes no part"), not_planned)]


def _steps(name: str, times: WaitingTimes, horizon: int) -> WeekSteps:
    rises = tuple(
        Rise(
            step.left,
            step.right,
            step.before,
            step.after,
            times.waiting(step.left if step.left == step.right else step.left + 1e-9),
        )
        for step in times.steps
    )
    last = min(_last(times), horizon + 1)
    ended = [rise for rise in rises if rise.right <= last and rise.waiting >= SHOWN_FROM]
    share = ended[-1].after if ended else 0.0
    lead = (
        words.gettext("share of %(count)s asked three times or more in year 1")
        if name == "lasting"
        else words.gettext("share of %(count)s who did it before")
    )
    return WeekSteps(
        words.say(HEADINGS[name]),
        lead % {"count": len(times.events)},
        rises,
        last,
        (percent(share), words.gettext("by week %(week)s") % {"week": week_number(ended[-1].right if ended else last)}),
        words.gettext("still waiting: %(what)s") % {"what": words.say(SHORT[name])},
        tuple(times.waiting(week) for week in range(0, horizon + 1, QUARTER)),
    )


def _last(times: WaitingTimes) -> float:
    """The last time at which enough were still waited for."""
    heard = sorted(event.left if event.cause == NOT_YET else event.right for event in times.events)
    return heard[-SHOWN_FROM]


def _horizon(last: Sequence[float]) -> int:
    """Whole quarters, from one year to two."""
    return min(TWO_YEARS, max([YEAR, *(QUARTER * ceil((week - 1) / QUARTER) for week in last)]))


def _end_rows(recovery: Recovery, told: Sequence[tuple[str, WaitingTimes]]) -> list[Counts]:
    """How each wait ended, which adds up to who waited; below it who is counted apart, up to everybody who was asked."""
    rows = [
        Counts(words.say(said), tuple(str(sum(map(times.count, causes))) for _name, times in told))
        for causes, said in ENDS.values()
    ]
    waited = tuple(str(len(times.events)) for _name, times in told)
    apart = [_apart(recovery, name) for name, _times in told]
    labels = (
        words.gettext("did not before, or acceptable before"),
        words.gettext("not answered"),
        words.gettext("one yes alone"),
    )
    rows.append(Counts(words.gettext("who waited"), waited, strong=True))
    return rows + [Counts(label, tuple(str(each[place]) for each in apart)) for place, label in enumerate(labels)]


def _apart(recovery: Recovery, name: str) -> tuple[int, int, int]:
    """Had nothing to wait for, did not answer, one yes of which nothing more is known."""
    of: dict[str, Returned | LastingYes] = {each.activity: each for each in recovery.returns}
    found = of.get(name, recovery.lasting)
    if isinstance(found, Returned):
        return found.did_not, found.unanswered, 0
    return found.yes_before, found.unanswered, found.one_yes
