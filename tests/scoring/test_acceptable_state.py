"""An acceptable state by a level of a score, or by the person's answer: never mixed, and not too early."""

import pytest

from scoring.acceptable import State, by_question, by_threshold, count_states
from scoring.definition import Definition, Scale, Threshold
from tests.scoring.making import library


def level(spec: str, scale: str, value: float) -> tuple[Scale, Threshold]:
    definition: Definition = library().instrument(spec)
    found = next(each for each in definition.thresholds if each.kind == "pass" and each.value == value)
    return definition.by_scale[scale], found


SST = level("sst", "total", 8.4)
PAIN = level("pain", "pain", 1.5)


@pytest.mark.parametrize(("value", "acceptable"), [(8, False), (9, True), (12, True)])
def test_a_score_reaches_the_level_of_chamberlain_2017_at_9(value: int, acceptable: bool) -> None:
    assert by_threshold(*SST, value, year=1).acceptable is acceptable


@pytest.mark.parametrize(("value", "acceptable"), [(0, True), (1, True), (2, False)])
def test_where_less_is_better_the_level_is_reached_from_above(value: int, acceptable: bool) -> None:
    assert by_threshold(*PAIN, value, year=2).acceptable is acceptable


def test_a_score_that_stands_at_the_level_reaches_it() -> None:
    assert by_threshold(*level("sst", "total", 11), 11, year=1) == State("threshold", True)
    assert by_threshold(*level("pain", "pain", 3), 3, year=1) == State("threshold", True)


def test_a_level_is_compared_at_its_printed_decimals() -> None:
    """245/3 is 81.666..., which prints as the level 81.7 and reaches it; so does 1.74 a level of 1.7 from above."""
    ases, pain = level("ases", "total", 81.7), level("pain", "pain", 1.7)
    assert [by_threshold(*ases, value, year=1).acceptable for value in (245 / 3, 81.64)] == [True, False]
    assert [by_threshold(*pain, value, year=1).acceptable for value in (1.74, 1.75)] == [True, False]


@pytest.mark.parametrize(("year", "reason"), [(None, "before surgery"), (0, "not before one year")])
def test_a_level_says_nothing_before_one_year(year: int | None, reason: str) -> None:
    state = by_threshold(*SST, 12, year=year)
    assert state.acceptable is None
    assert reason in (state.reason or "")


def test_without_a_score_or_an_answer_nothing_is_said() -> None:
    assert by_threshold(*SST, None, year=1) == State("threshold", None, "no score", description=False)
    assert by_question(None, year=1) == State("question", None, "not answered", description=False)
    assert by_question(None, year=None).description is True


def test_the_question_is_an_outcome_from_the_first_weeks_and_a_description_before_surgery() -> None:
    assert by_question(1, year=0).acceptable is True
    assert by_question(0, year=5).acceptable is False
    before = by_question(0, year=None)
    assert (before.acceptable, before.description) == (False, True)


def test_counts_leave_descriptions_and_what_was_not_said_apart() -> None:
    states = [
        by_question(value, year=year) for value, year in ((1, 1), (1, 1), (0, 1), (None, 1), (0, None), (1, None))
    ]
    found = count_states(states)
    assert (found.basis, found.judged, found.acceptable, found.not_judged, found.descriptions) == (
        "question",
        3,
        2,
        1,
        2,
    )


def test_both_kinds_together_are_refused() -> None:
    with pytest.raises(ValueError, match="not counted together"):
        count_states([by_question(1, year=1), by_threshold(*SST, 12, year=1)])
    with pytest.raises(ValueError, match="nor is nothing"):
        count_states([])


def test_a_threshold_of_change_is_no_level() -> None:
    scale, _ = SST
    change = next(each for each in library().instrument("sst").thresholds if each.kind == "mcid")
    with pytest.raises(ValueError, match=r"^a threshold of kind mcid on total is no level of total$"):
        by_threshold(scale, change, 10, year=1)
    with pytest.raises(ValueError, match=r"^a threshold of kind pass on total is no level of pain$"):
        by_threshold(*level("pain", "pain", 1.5)[:1], SST[1], 1, year=1)


def test_another_answer_to_the_question_is_refused() -> None:
    with pytest.raises(ValueError, match="1 or 0"):
        by_question(2, year=1)
