"""Who is in an acceptable state at each year: every shoulder in one state, the share as a product, levels apart."""

import random
from collections.abc import Iterable
from dataclasses import replace
from datetime import date, timedelta
from typing import Any, cast

import pytest

from scoring.library import load_library
from server.outcomes.arithmetic.proportion import wilson
from server.outcomes.series.acceptable import STATES, AcceptableSeries, Standings, acceptable_of
from server.outcomes.series.acceptable_levels import Levels
from server.outcomes.series.followed import Followed, Point
from server.outcomes.series.row import Row
from server.outcomes.series.sentence import Sentence
from server.outcomes.series.strip import strip_of
from server.schedule.status import Status
from tests.outcomes.series.followed_case import SURGERY, TODAY, answered, followings, later, line, point, row, shoulder

YEAR_1 = date(2016, 3, 1)
LEVELS = Levels(load_library().definitions)
OWN_RATING = "sane@1/sane"


def said(yes: bool, year: int = 1, **scores: Any) -> Point:
    return answered(year, **{"pass@1/acceptable": int(yes), **scores})


def series(
    shoulders: Iterable[Followed], *others: Row, sentence: Sentence | None = None, levels: Levels = LEVELS
) -> AcceptableSeries:
    read = followings(shoulders, *others)
    wanted = sentence or Sentence()
    return acceptable_of(read, strip_of(read, read.record.rows, wanted), levels)


def year_1(*shoulders: Followed, others: tuple[Row, ...] = ()) -> Standings:
    return series(shoulders, *others).years[0]


def several(number: int, *points: Point, **values: Any) -> list[Followed]:
    return [shoulder(*points, **values) for _ in range(number)]


def counts(at: Standings) -> dict[str, int]:
    return {state: count for state, count in at.counts.items() if count}


@pytest.mark.parametrize(
    ("points", "values", "state"),
    [
        ([said(True)], {}, "yes"),
        ([said(False)], {}, "no"),
        ([answered(1, sst=9)], {}, "unanswered"),  # the question was skipped
        ([point(1)], {}, "unanswered"),
        ([point(1, Status.NEVER_ASKED)], {}, "unanswered"),
        ([point(1)], {"alive_on": date(2015, 11, 1)}, "not_known_alive"),
        ([point(1)], {"died": date(2016, 1, 1), "alive_on": date(2015, 11, 1)}, "dead"),
        ([point(1)], {"died": date(2019, 1, 1), "alive_on": date(2015, 11, 1)}, "unanswered"),
        ([said(True)], {"died": date(2016, 4, 1)}, "yes"),
        ([point(1)], {"later": (later(date(2015, 12, 1)),)}, "revised"),
        ([said(True)], {"later": (later(date(2015, 12, 1)),)}, "revised"),
        ([said(True)], {"later": (later(date(2018, 12, 1)),)}, "yes"),
        ([point(1)], {"later": (later(date(2015, 12, 1)),), "died": date(2016, 1, 1)}, "dead"),
        ([point(1)], {"later": (later(date(2015, 12, 1)),), "alive_on": date(2015, 12, 1)}, "not_known_alive"),
    ],
)  # fmt: skip
def test_a_shoulder_stands_in_the_first_state_that_fits(points: list[Point], values: Any, state: str) -> None:
    assert counts(year_1(shoulder(*points, **values))) == {state: 1}


def test_the_revised_are_those_of_the_strip_known_alive_or_not() -> None:
    seen, in_the_window = date(2015, 12, 1), later(date(2016, 5, 1))
    lost = shoulder(point(1), later=(later(seen),), alive_on=seen)
    found = series(
        [lost, shoulder(point(1), later=(in_the_window,)), shoulder(point(1), later=(later(date(2016, 6, 1)),))]
    )
    at = found.years[0]
    assert counts(at) == {"revised": 1, "not_known_alive": 1, "unanswered": 1} and at.revised_not_known_alive == 1
    assert found.strip.years[0].count("revised") == 2 and found.failed_sums() == []
    without = Standings(1, tuple(stand._replace(revised=False) for stand in at.stands))
    failed = AcceptableSeries((without, *found.years[1:]), found.eras, LEVELS, found.strip).failed_sums()
    assert failed == [(1, "revised", 2, 1)]


def test_whoever_takes_no_part_gave_no_answer() -> None:
    found = year_1(shoulder(said(True)), others=(line(), line(not_enrolled="died"), row(consent="withdrawn")))
    assert counts(found) == {"yes": 1, "unanswered": 2, "dead": 1}
    assert found.counts.keys() == set(STATES)


def test_a_year_that_has_not_come_counts_nobody() -> None:
    young = date(2025, 6, 1)
    (year,) = series([shoulder(said(True, surgery_on=young), surgery_on=young), *several(3, said(True))]).years[:1]
    assert counts(year) == {"yes": 3}


def test_the_share_is_a_product_of_two_shares_with_their_own_denominators() -> None:
    """Of 20 with known status 4 are revised: 0.8. Of the 10 unrevised who answered 9 say yes: 0.72, and not 9 of 14."""
    revised: dict[str, Any] = {"later": (later(date(2015, 12, 1)),)}
    found = year_1(
        *several(9, said(True)), *several(1, said(False)), *several(6, point(1)), *several(4, point(1), **revised)
    )
    assert found.observed == 14 and found.acceptable is not None
    assert found.acceptable.estimate == pytest.approx(0.8 * 0.9)
    assert found.acceptable.lower < 0.72 < found.acceptable.upper < 1


def test_whose_implant_status_is_not_known_is_no_unrevised_one() -> None:
    known = several(5, said(True)) + several(5, point(1), later=(later(date(2015, 12, 1)),))
    unknown = several(30, point(1), implant_on=date(2015, 6, 1)) + several(30, point(1), operated_unrecorded=True)
    shares = [year_1(*known, *silent).acceptable for silent in ([], unknown)]
    assert [share.estimate for share in shares if share is not None] == [0.5, 0.5]


def test_of_implants_of_which_nothing_is_known_no_share_is_formed_and_the_answers_stand() -> None:
    found = year_1(*several(12, said(True), implant_on=None))
    assert found.acceptable is None
    assert found.own == (12, 12, wilson(12, 12))


def test_the_own_answer_counts_whatever_was_revised() -> None:
    """3 revised of whom 2 answered, one of them yes: 9 of 12 by the answers alone."""
    revised: dict[str, Any] = {"later": (later(date(2015, 12, 1)),)}
    found = year_1(
        *several(8, said(True)), *several(2, said(False)),
        shoulder(said(True), **revised), shoulder(said(False), **revised), shoulder(point(1), **revised),
    )  # fmt: skip
    assert counts(found) == {"yes": 8, "no": 2, "revised": 3}
    assert found.own.k == 9 and found.own.n == 12
    assert found.own.limits == pytest.approx(wilson(9, 12))


def test_two_shoulders_of_a_person_are_no_two_people() -> None:
    apart = year_1(*several(20, said(True)), *several(20, said(False)))
    pairs = year_1(
        *(shoulder(said(person < 10), patient_id=person + 5000) for person in range(20) for _side in range(2))
    )
    assert pairs.own.limits == pytest.approx(wilson(10, 20))
    assert apart.own.limits == pytest.approx(wilson(20, 40))
    assert pairs.acceptable is not None and apart.acceptable is not None
    assert pairs.acceptable.upper - pairs.acceptable.lower > 1.2 * (apart.acceptable.upper - apart.acceptable.lower)


def test_the_same_people_give_the_same_limits_in_any_order_and_at_whatever_time_they_are_asked() -> None:
    revised = several(4, point(1), later=(later(date(2015, 12, 1)),))
    people = [*several(30, said(True)), *several(9, said(False)), *several(5, point(1)), *revised]
    once, turned = year_1(*people), year_1(*reversed(people))
    assert once.acceptable is not None
    assert once.acceptable == turned.acceptable == Standings("year-1", once.stands).acceptable


def test_answers_of_twelve_are_no_surer_for_those_who_are_silent() -> None:
    silent, revised = several(187, point(1)), shoulder(point(1), later=(later(date(2015, 12, 1)),))
    all_yes, all_no = (year_1(*several(12, said(yes)), *silent).acceptable for yes in (True, False))
    assert all_yes == pytest.approx(wilson(12, 12)) and all_no == pytest.approx(wilson(0, 12))
    one_revised = year_1(*several(12, said(True)), *silent, revised).acceptable
    assert one_revised == pytest.approx((0.995, 0.757, 1), abs=0.003)


def test_a_share_rests_on_the_smaller_of_its_denominators() -> None:
    """One yes, nine revised and 500 silent: one answer makes no share."""
    revised = several(9, point(1), later=(later(date(2015, 12, 1)),))
    found = year_1(shoulder(said(True)), *several(500, point(1)), *revised)
    assert (found.observed, found.basis, found.drawn) == (10, 1, False)
    few_implants = year_1(*several(40, said(True), implant_on=None), *several(3, said(True)))
    assert (few_implants.basis, few_implants.drawn) == (3, False)


def test_an_answer_after_somebody_said_that_it_was_operated_again_is_in_neither_share() -> None:
    """What is not recorded may have been a revision; before it was said, an own answer shows the implant in place."""
    said_on = date(2017, 3, 1)
    flagged: dict[str, Any] = {"operated_unrecorded": True, "operated_said_on": said_on}
    people = [shoulder(said(True), said(True, 2), **flagged) for _ in range(12)]
    years = series([*people, *several(100, point(1), point(2))]).years
    assert [(at.implants, at.answers, at.said_operated, at.counts["yes"]) for at in years[:2]] == [
        ((112, 0), (12, 0), 0, 12), ((100, 0), (0, 0), 12, 12),
    ]  # fmt: skip
    assert years[0].acceptable == pytest.approx(wilson(12, 12)) and years[1].acceptable is None
    assert year_1(*several(12, said(True), operated_unrecorded=True)).answers == (0, 0)


def test_everyone_dead_is_no_share() -> None:
    found = year_1(*several(15, point(1), died=date(2015, 12, 1)))
    assert counts(found) == {"dead": 15} and found.acceptable is None and found.own == (0, 0, None)
    assert found.observed == 0


def test_an_empty_series_has_no_year() -> None:
    found = series([])
    assert (found.years, found.eras, found.failed_sums(), found.observed_rows) == ((), (), [], ())


def test_only_what_the_sentence_wants_is_an_answer() -> None:
    people = [shoulder(said(True)), shoulder(said(True, mode="telephone"))]
    assert counts(series(people, sentence=Sentence(mode=("telephone",))).years[0]) == {"yes": 1, "unanswered": 1}


def test_the_answer_and_a_level_are_counted_apart() -> None:
    """85.7 is printed with a decimal; 86 reaches it and 85 does not. Who did not rate is in no count of the level."""
    found = year_1(
        shoulder(said(True, **{OWN_RATING: 86})), shoulder(said(True, **{OWN_RATING: 85})),
        shoulder(said(False, **{OWN_RATING: 90})), shoulder(said(True)),
    )  # fmt: skip
    assert counts(found) == {"yes": 3, "no": 1}
    level = found.level(LEVELS, OWN_RATING)
    assert (level.k, level.n) == (2, 3) and level.share == pytest.approx(2 / 3)
    limits = found.level_limits(LEVELS, OWN_RATING)
    assert limits is not None and limits.lower < 2 / 3 < limits.upper


def test_a_shoulder_without_an_implant_is_judged_by_no_level() -> None:
    found = year_1(shoulder(said(True, **{OWN_RATING: 99}), implant_type="none"))
    assert found.level(LEVELS, OWN_RATING) == (0, 0, None)


def test_a_level_that_was_found_with_other_implants_is_told() -> None:
    people = [*several(3, said(True)), *several(2, said(True), implant_type="reverse")]
    (level,) = LEVELS.used([each.row for each in people], OWN_RATING)
    assert (level.threshold.value, level.shoulders, level.elsewhere) == (85.7, 5, 3)
    assert LEVELS.keys[0] == OWN_RATING and "sst@1/total" in LEVELS.keys


def test_two_versions_of_the_question_are_told() -> None:
    first, version_2 = LEVELS.definitions["pass@1"], cast(dict[str, Any], {"pass@2/acceptable": 1})
    levels = Levels({**LEVELS.definitions, "pass@2": replace(first, version="2")})
    found = series([*several(3, said(True)), shoulder(answered(1, **version_2))], levels=levels)
    assert counts(found.years[0]) == {"yes": 4}
    assert found.versions() == {"pass@1": 3, "pass@2": 1} and found.years[0].answers == (4, 0)


def test_eras_are_years_of_operation_and_only_early_ones_reach_late_years() -> None:
    early, late = date(2009, 5, 1), date(2021, 5, 1)
    found = series(
        [
            *(shoulder(said(True, year, surgery_on=early), surgery_on=early) for year in (1, 2, 10)),
            *(shoulder(said(False, year, surgery_on=late), surgery_on=late) for year in (1, 2)),
        ]
    )
    assert [(era.first, era.last, [at.at for at in era.years]) for era in found.eras] == [
        (2009, 2009, list(range(1, 17))), (2021, 2021, [1, 2, 3, 4]),
    ]  # fmt: skip
    assert [counts(era.years[0]) for era in found.eras] == [{"yes": 1, "unanswered": 2}, {"no": 1, "unanswered": 1}]


@pytest.mark.parametrize("seed", range(5))
def test_at_every_year_the_states_add_up_to_those_whose_year_has_come(seed: int) -> None:
    dice = random.Random(seed)
    people = [_anyone(dice) for _ in range(60)]
    found = series(people, line(), row(consent="none"))
    assert found.failed_sums() == []
    assert [sum(at.counts.values()) for at in found.years] == [year.come for year in found.strip.years]
    assert len(found.years) >= 5


def test_a_sum_that_fails_is_named() -> None:
    found = series(several(3, said(True)))
    short = Standings(1, found.years[0].stands[:-1])
    failed = AcceptableSeries((short, *found.years[1:]), found.eras, LEVELS, found.strip).failed_sums()
    assert failed == [(1, "come", 3, 2), (1, "states", 3, 2)]


def _anyone(dice: random.Random) -> Followed:
    surgery_on = SURGERY + timedelta(days=dice.randrange(2500))
    points = [
        dice.choice([point(year, surgery_on=surgery_on), said(dice.random() < 0.7, year, surgery_on=surgery_on)])
        for year in range(1, 7)
    ]
    day = surgery_on + timedelta(days=dice.randrange(30, 3000))
    values: dict[str, Any] = {}
    if dice.random() < 0.3 and day <= TODAY:
        values["died"] = day
    if dice.random() < 0.3:
        values["later"] = (later(surgery_on + timedelta(days=dice.randrange(10, 2000))),)
    if dice.random() < 0.3:
        values["alive_on"] = values["implant_on"] = surgery_on + timedelta(days=dice.randrange(10, 2000))
    return shoulder(*points, surgery_on=surgery_on, **values)
