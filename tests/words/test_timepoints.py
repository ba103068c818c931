"""How a timepoint is called, on every page the same."""

import pytest

from server.words.language import Words
from server.words.timepoints import timepoint_words, year_runs


@pytest.mark.parametrize(
    ("code", "words"),
    [
        ("baseline", "before surgery"),
        ("day-1", "1 day"),
        ("week-6", "6 weeks"),
        ("month-3", "3 months"),
        ("year-1", "year 1"),
        ("year-10", "year 10"),
    ],
)
def test_a_timepoint_is_called_by_its_code(code: str, words: str) -> None:
    assert Words("staff", "en").say(timepoint_words(code)) == words


def test_years_that_follow_each_other_are_one_run() -> None:
    assert year_runs([3, 4, 6, 7, 8, 11]) == [(3, 4), (6, 8), (11, 11)]
    assert year_runs([]) == []
