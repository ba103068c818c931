"""How long recovery takes: who calls the shoulder acceptable at each of the first windows, and how long until it lasts. Pure counting.

A window that a shoulder's plan does not have is no silence: such a shoulder is counted apart, and so is whoever does not take part.
"""

from collections.abc import Iterable
from dataclasses import dataclass
from functools import cached_property

from server.outcomes.series.acceptable import Standings, stand_of
from server.outcomes.series.acceptable_levels import Levels
from server.outcomes.series.followed import Followed, Followings
from server.outcomes.series.lasting_yes import LastingYes, is_acute_fracture, lasting_yes, said_before
from server.outcomes.series.returns import ACTIVITIES, Returned, returned
from server.outcomes.series.returns_reading import ReadReturns
from server.outcomes.series.row import Row
from server.outcomes.series.sentence import Sentence
from server.outcomes.series.strip import place_in_window, wanted_answer

WINDOWS = ("week-6", "month-3", "month-6", "year-1", "year-2")


@dataclass(frozen=True)
class Window:
    """One window: `standings` of those for whom it has closed. With `to_come` and `not_planned` they are all who are meant."""

    code: str
    standings: Standings
    to_come: int
    not_planned: int

    @property
    def come(self) -> int:
        return len(self.standings.stands)


@dataclass(frozen=True)
class Recovery:
    """`before`: how many said yes before surgery, of how many who answered it then, acute fractures left out; `fractures`: how many
    those are among the followed. `unread`: forms whose answers do not open."""

    meant: int
    windows: tuple[Window, ...]
    before: tuple[int, int]
    fractures: int
    returns: tuple[Returned, ...]
    lasting: LastingYes
    unread: int

    @cached_property
    def observed_rows(self) -> tuple[Row, ...]:
        """Each shoulder that is in any denominator of a window, once."""
        return tuple(dict.fromkeys(row for window in self.windows for row in window.standings.observed_rows))

    def failed_sums(self) -> list[tuple[str, str, int, int]]:
        """Where, which sum, what it should be, what it is."""
        failed = [
            (window.code, "meant", self.meant, window.come + window.to_come + window.not_planned)
            for window in self.windows
            if window.come + window.to_come + window.not_planned != self.meant
        ]
        failed += [
            (window.code, "states", window.come, sum(window.standings.counts.values()))
            for window in self.windows
            if sum(window.standings.counts.values()) != window.come
        ]
        failed += [(each.activity, *sums) for each in self.returns for sums in each.failed_sums()]
        return failed + [("lasting", *sums) for sums in self.lasting.failed_sums()]


def recovery_of(
    followings: Followings, meant: Iterable[Row], sentence: Sentence, levels: Levels, read: ReadReturns
) -> Recovery:
    """`meant`: the rows of the flow at that step. `read`: what was told of the return, of these and of others."""
    rows = tuple(meant)
    followed = [shoulder for row in rows if (shoulder := _followed(followings, row)) is not None]
    of_them = set(followed)
    asked = [each for each in read.asked if each[0] in of_them]
    return Recovery(
        len(rows),
        tuple(_window(followings, rows, code, sentence, levels) for code in WINDOWS),
        _before(followed, levels),
        sum(map(is_acute_fracture, followed)),
        tuple(returned(asked, activity) for activity in ACTIVITIES),
        lasting_yes(followed, sentence, levels.questions),
        read.unread,
    )


def _followed(followings: Followings, row: Row) -> Followed | None:
    return followings.of.get(row.operation_id or 0) if row.takes_part else None


def _window(followings: Followings, rows: Iterable[Row], code: str, sentence: Sentence, levels: Levels) -> Window:
    stands, to_come, not_planned = [], 0, 0
    for row in rows:
        shoulder = _followed(followings, row)
        point = None if shoulder is None else shoulder.points.get(code)
        if shoulder is None or point is None or point.closes_on is None:
            not_planned += 1
        elif followings.record.as_of <= point.closes_on:
            to_come += 1
        else:
            answer = wanted_answer(point, sentence)
            place = place_in_window(shoulder, point, answer, point.closes_on)
            stands.append(stand_of(shoulder, place, point.opens_on, answer, levels.questions))
    return Window(code, Standings(code, tuple(stands)), to_come, not_planned)


def _before(followed: Iterable[Followed], levels: Levels) -> tuple[int, int]:
    told = [said_before(shoulder, levels.questions) for shoulder in followed if not is_acute_fracture(shoulder)]
    return sum(own is True for own in told), sum(own is not None for own in told)
