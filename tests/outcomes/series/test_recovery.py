"""Recovery: the share at each of the first windows, and the time until a yes lasts, where a plan looks often enough."""

from collections.abc import Iterable
from datetime import date, timedelta
from typing import Any

import pytest

from scoring.library import load_library
from server.outcomes.arithmetic.interval_causes import NOT_YET, Event
from server.outcomes.series.acceptable import acceptable_of
from server.outcomes.series.acceptable_levels import Levels
from server.outcomes.series.followed import Answer, Followed, Point
from server.outcomes.series.lasting_yes import LASTING, LastingYes, lasting_yes
from server.outcomes.series.recovery import WINDOWS, Recovery, recovery_of
from server.outcomes.series.returns_reading import ReadReturns
from server.outcomes.series.row import Row
from server.outcomes.series.sentence import Sentence
from server.outcomes.series.strip import strip_of
from server.outcomes.series.waiting_times import DIED, REVISED
from server.schedule.status import Status
from tests.outcomes.series.followed_case import SURGERY, followings, later, line, shoulder

LEVELS = Levels(load_library().definitions)
# By code: opens, due and closes, in days after surgery, and how the answers of a look are written here.
CLOSE = {
    "week-6": (28, 42, 63),
    "month-3": (75, 91, 120),
    "month-6": (150, 182, 215),
    "year-1": (305, 365, 425),
    "year-2": (640, 730, 850),
}
STANDARD = ("week-6", "year-1", "year-2")
WEEK = {code: days[1] / 7 for code, days in CLOSE.items()}


def planned(looks: str, codes: Iterable[str] = CLOSE, *, before: str = "n", mode: str = "own_phone") -> list[Point]:
    """One sign for each look: y for yes, n for no, . for silence; the first of them is that before surgery."""
    points = [
        Point("baseline", SURGERY - timedelta(90), SURGERY, SURGERY, *_said(before, SURGERY - timedelta(20), mode))
    ]
    for code, sign in zip(codes, looks, strict=True):
        opens, due, closes = (SURGERY + timedelta(days) for days in CLOSE[code])
        points.append(Point(code, opens, due, closes, *_said(sign, due, mode)))
    return points


def _said(sign: str, on: date, mode: str) -> tuple[Status, Answer | None]:
    if sign == ".":
        return Status.MISSED, None
    return Status.ANSWERED, Answer(on, mode, {"pass@1/acceptable": float(sign == "y")}, frozenset({"descriptive"}))


def one(looks: str, before: str = "n", codes: Iterable[str] = CLOSE, **values: Any) -> Followed:
    return shoulder(*planned(looks, codes, before=before), **values)


def lasting(*shoulders: Followed, sentence: Sentence | None = None) -> LastingYes:
    return lasting_yes(shoulders, sentence or Sentence(), LEVELS.questions)


@pytest.mark.parametrize(
    ("looks", "expected"),
    [
        ("yy...", Event(LASTING, 0, WEEK["week-6"])),
        ("nnyyn", Event(LASTING, WEEK["month-3"], WEEK["month-6"])),
        ("ynyyy", Event(LASTING, WEEK["month-3"], WEEK["month-6"])),  # the first yes was lost again
        ("n.y.y", Event(LASTING, WEEK["week-6"], WEEK["month-6"])),  # two that follow each other
        ("nnnny", Event(NOT_YET, WEEK["year-1"])),  # a single last yes
        ("nny..", Event(NOT_YET, WEEK["month-3"])),
        ("ynynn", Event(NOT_YET, WEEK["year-2"])),
        ("n....", Event(NOT_YET, WEEK["week-6"])),
    ],
)  # fmt: skip
def test_a_yes_lasts_where_two_follow_each_other(looks: str, expected: Event) -> None:
    assert lasting(one(looks)).times.events == (expected,)


def test_who_said_yes_before_surgery_is_counted_apart_and_so_is_one_yes_and_silence() -> None:
    found = lasting(one("yyyyy", before="y"), one("..y.."), one("....."), one("nnyyy"), one("nnyyy", before="."))
    assert (found.planned, found.yes_before, found.one_yes, found.unanswered, found.no_baseline) == (5, 1, 1, 1, 1)
    assert len(found.times.events) == 2 and found.failed_sums() == []


def test_with_fewer_than_three_looks_in_the_first_year_no_time_is_told() -> None:
    assert lasting(one("nyy", codes=STANDARD)).planned == 0


def test_revisions_and_deaths_end_the_wait_on_their_day() -> None:
    on = SURGERY + timedelta(weeks=40)
    assert lasting(one("nny..", later=(later(on),))).times.events == (Event(REVISED, 40, 40),)
    assert lasting(one("nny..", died=on)).times.events == (Event(DIED, 40, 40),)
    assert lasting(one("nyy..", died=on)).times.events == (Event(LASTING, WEEK["week-6"], WEEK["month-3"]),)
    after = SURGERY + timedelta(weeks=15)  # both yes are of the new implant
    assert lasting(one("nnyyy", later=(later(after),))).times.events == (Event(REVISED, 15, 15),)


def test_what_happened_after_a_look_that_passed_in_silence_ended_no_wait_that_anybody_knows_of() -> None:
    on = SURGERY + timedelta(weeks=520)
    assert lasting(one("n....", died=on)).times.events == (Event(NOT_YET, WEEK["week-6"]),)
    assert lasting(one("nny..", later=(later(on),))).times.events == (Event(NOT_YET, WEEK["month-3"]),)
    assert lasting(one(".....", died=on)).unanswered == 1
    missed_month_3 = SURGERY + timedelta(days=CLOSE["month-3"][2] + 1)
    assert lasting(one("n....", died=missed_month_3)).times.events == (Event(NOT_YET, WEEK["week-6"]),)
    twenty = [one("..yyy") for _each in range(20)]
    waiting = [one("n....", died=on) for _each in range(20)]
    assert lasting(*twenty, *waiting).times.share_by(60) == pytest.approx((1, 1))


def test_answers_in_another_way_than_the_sentence_wants_are_no_looks() -> None:
    by_phone = Sentence(mode=("telephone",))
    assert lasting(one("nnyyy"), sentence=by_phone).unanswered == 1


def test_everyone_dead_is_no_lasting_yes() -> None:
    found = lasting(*(one(".....", died=SURGERY + timedelta(weeks=3)) for _each in range(12)))
    assert found.times.count(DIED) == 12 and found.times.steps == ()


def recovery(shoulders: Iterable[Followed], *others: Row, as_of: date | None = None) -> Recovery:
    read = followings(shoulders, *others, **({} if as_of is None else {"as_of": as_of}))
    return recovery_of(read, read.record.rows, Sentence(), LEVELS, ReadReturns())


def test_at_each_window_everybody_who_is_meant_is_counted_once() -> None:
    found = recovery(
        [one("nnyyy"), one(".nyny", before="y"), one("nyy", codes=STANDARD), one("y.y..", died=SURGERY + timedelta(weeks=40))],
        line(), as_of=SURGERY + timedelta(days=800),
    )  # fmt: skip
    told = {window.code: window.standings.counts for window in found.windows}
    assert tuple(told) == WINDOWS
    assert [(told[code]["yes"], told[code]["no"], told[code]["unanswered"], told[code]["dead"]) for code in WINDOWS] == [
        (1, 2, 1, 0), (0, 2, 1, 0), (3, 0, 0, 0), (2, 1, 0, 1), (0, 0, 0, 0),
    ]  # fmt: skip
    assert [(window.come, window.to_come, window.not_planned) for window in found.windows] == [
        (4, 0, 1), (3, 0, 2), (3, 0, 2), (4, 0, 1), (0, 4, 1),
    ]  # fmt: skip
    assert found.before == (1, 4) and found.failed_sums() == []


def test_a_year_has_the_same_limits_here_as_among_the_acceptable() -> None:
    shoulders = [one("nny" + said + "y") for said in "yyyyyyyynnn." * 3]
    read = followings(shoulders)
    strip = strip_of(read, read.record.rows, Sentence())
    year_1 = acceptable_of(read, strip, LEVELS).years[0]
    window = next(each for each in recovery(shoulders).windows if each.code == "year-1")
    assert window.standings.counts == year_1.counts and window.standings.acceptable == year_1.acceptable
    assert year_1.acceptable is not None and year_1.acceptable.lower < 24 / 33 < year_1.acceptable.upper


def test_an_empty_series_has_nothing_to_recover_from() -> None:
    found = recovery([])
    assert (found.meant, found.before, found.observed_rows, found.lasting.planned) == (0, (0, 0), (), 0)
    assert [window.come for window in found.windows] == [0] * 5 and found.failed_sums() == []


def test_what_an_acute_fracture_says_before_surgery_is_of_the_broken_arm() -> None:
    found = recovery([one("nnyyy", before="y", diagnosis="acute_fracture"), one("nnyyy", before="y"), one("nnyyy")])
    assert (found.before, found.fractures, found.lasting.yes_before, len(found.lasting.times.events)) == (
        (1, 2),
        1,
        1,
        2,
    )


def test_a_sum_that_fails_is_named() -> None:
    found = recovery([one("nnyyy"), one("nnyyy")])
    short = Recovery(3, found.windows, found.before, 0, found.returns, found.lasting, 0)
    assert short.failed_sums() == [(code, "meant", 3, 2) for code in WINDOWS]
