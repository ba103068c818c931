"""JSON from outside is read strictly, and nothing it holds can do more than be refused."""

import json

import pytest
from hypothesis import given
from hypothesis import strategies as st

from scoring.strict_json import JsonProblem, load_strict_json, shown

VALUES = st.recursive(
    st.none() | st.booleans() | st.integers() | st.floats(allow_nan=False, allow_infinity=False) | st.text(),
    lambda inner: st.lists(inner, max_size=4) | st.dictionaries(st.text(), inner, max_size=4),
    max_leaves=12,
)


@given(VALUES)
def test_what_is_valid_is_read_as_it_was_written(value: object) -> None:
    assert load_strict_json(json.dumps(value)) == value


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ('{"a": 1, "b": {"c": 1, "c": 1}}', 'the key "c" stands there twice'),
        ('{"a": 1, "b": 1, "b": 2}', 'the key "b" stands there twice'),
        ("[NaN]", "NaN is not a number"),
        ("[1e400]", "too large"),
        ("9" * 5000, "too long"),
        ("[" * 100_000, "nested too deeply"),
        ("{", "line 1, column 2"),
        ("\ufeff{}", "byte order mark"),
        (b"\xef\xbb\xbf{}", "byte order mark"),
        (b"\xc3", "not UTF-8"),
    ],
)
def test_what_is_not_valid_is_refused_with_the_reason(text: str | bytes, message: str) -> None:
    with pytest.raises(JsonProblem) as caught:
        load_strict_json(text)
    assert message in str(caught.value)


def test_what_is_not_finite_is_kept_for_who_asks_and_nothing_else_is() -> None:
    kept = load_strict_json("[NaN, Infinity, -Infinity, 1e400, 1.5]", keep_not_finite=True)
    assert [str(each) for each in kept] == ["nan", "inf", "-inf", "inf", "1.5"]
    for text in ('{"a": NaN, "a": 1}', "[nan]", "[NaN"):
        with pytest.raises(JsonProblem):
            load_strict_json(text, keep_not_finite=True)


def test_a_value_is_shown_short_and_in_ascii() -> None:
    assert shown("\u0661") == '"\\u0661"'
    assert shown("x" * 100) == '"' + "x" * 38 + "…"
    assert shown("x" * 38) == '"' + "x" * 38 + '"'
    assert shown("x" * 39) == '"' + "x" * 38 + "…"
    assert shown({1, 2}) == "set"
    round_and_round: list[object] = []
    round_and_round.append(round_and_round)
    assert shown(round_and_round) == "list"


def test_a_number_that_is_too_large_is_shown_by_its_first_forty_digits() -> None:
    with pytest.raises(JsonProblem) as caught:
        load_strict_json("1e" + "9" * 60)
    assert str(caught.value) == "1e" + "9" * 38 + " is too large a number"
