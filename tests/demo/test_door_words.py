"""How the front door names a timepoint, also one of a plan that a visitor installed."""

import pytest

from server.demo.door_words import timepoint_words


@pytest.mark.parametrize(
    ("code", "words"),
    [
        ("year-1", "1 year after surgery"),
        ("baseline", "Before surgery"),
        ("month-3", "3 months"),
        ("week-2", "2 weeks"),
    ],
)
def test_a_timepoint_is_named_by_the_standard_plan_or_else_by_its_code(code: str, words: str) -> None:
    assert timepoint_words(code) == words
