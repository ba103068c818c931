"""Each step turns one exact number into another, says so in words, and knows whether whole numbers stay whole."""

from fractions import Fraction
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from scoring.data_reader import DataProblem, Node
from scoring.parse import parse_definition
from scoring.rules import RULES
from scoring.steps import Exact, Limits, Step, fraction_of, number_of, parse_step, words_of
from tests.scoring.making import definition_data, scale_data

TEN = (Fraction(0), Fraction(10))
EXACT = st.integers(0, 10) | st.fractions(0, 10, max_denominator=100)


def step(reach: Limits = TEN, **members: Any) -> Step:
    named = {key.rstrip("_"): value for key, value in members.items()}
    return parse_step(Node(named, "here"), (), reach)[0]


def reached(reach: Limits = TEN, **members: Any) -> tuple[float, float]:
    named = {key.rstrip("_"): value for key, value in members.items()}
    low, high = parse_step(Node(named, "here"), (), reach)[1]
    return float(low), float(high)


@pytest.mark.parametrize(
    ("exact", "number"),
    [(Fraction(6, 3), 2), (5, 5), (Fraction(0), 0), (-2, -2), (Fraction(7, 2), 3.5), (Fraction(-7, 2), -3.5), (Fraction(1, 3), 1 / 3)],
)  # fmt: skip
def test_a_number_is_whole_when_it_can_be(exact: Exact, number: float) -> None:
    found = number_of(exact)
    assert (found, type(found)) == (number, type(number))


@pytest.mark.parametrize(
    ("exact", "words"),
    [(Fraction(1, 3), "0.3333"), (10, "10"), (Fraction(200, 2), "100"), (Fraction(5, 2), "2.5"), (Fraction(-1, 8), "-0.125"),
     (Fraction(1, 10**6), "0")],
)  # fmt: skip
def test_a_number_is_told_in_up_to_four_decimals(exact: Exact, words: str) -> None:
    assert words_of(exact) == words


def test_a_decimal_is_taken_as_written() -> None:
    assert [fraction_of(each) for each in (16.2, 0.1, 3, -0.5)] == [
        Fraction(81, 5), Fraction(1, 10), Fraction(3), Fraction(-1, 2),
    ]  # fmt: skip


@given(EXACT)
def test_reverse_and_rescale_are_exact(value: Exact) -> None:
    assert step(name="reverse", range=[0, 10]).apply(value) == 10 - value
    moved = step(name="rescale", from_=[-5, 15], to=[20, 0.5]).apply(value)
    assert moved == 20 + (value + 5) * (Fraction(1, 2) - 20) / 20


@given(EXACT)
def test_rounding_takes_a_half_upwards_and_a_limit_cuts(value: Exact) -> None:
    rounded = step(name="round").apply(value)
    assert rounded.denominator == 1 and Fraction(-1, 2) < rounded - value <= Fraction(1, 2)
    assert step(name="limit", high=7.5).apply(value) == min(value, Fraction(15, 2))


@given(EXACT)
def test_a_band_counts_the_edges_below(value: Exact) -> None:
    up_to = step(name="band", up_to=[[3, 9], [6, 5], [10, 1]]).apply(value)
    assert up_to == (9 if value <= 3 else 5 if value <= 6 else 1)
    begins = step(name="band", from_=[[0, 1], [3, 5], [6, 9]]).apply(value)
    assert begins == (1 if value < 3 else 5 if value < 6 else 9)


@pytest.mark.parametrize("name", ["reverse", "rescale"])
def test_two_steps_that_do_the_same_are_the_same(name: str) -> None:
    members: dict[str, Any] = {"reverse": {"range": [0, 10]}, "rescale": {"from_": [0, 10], "to": [0, 5]}}[name]
    assert step(name=name, **members) == step(name=name, **members)
    assert step(name=name, **members) != step(name="rescale", from_=[0, 10], to=[0, 7])


def test_a_table_takes_a_whole_number_in_any_terms() -> None:
    table = step(name="table", rows=[[n, n / 2] for n in range(11)])
    assert table.apply(3) == table.apply(Fraction(3)) == Fraction(3, 2)


@pytest.mark.parametrize(
    ("members", "limits"),
    [
        ({"name": "reverse", "range": [0, 10]}, (0, 10)),
        ({"name": "rescale", "from_": [-10, 30], "to": [0, 4]}, (1, 2)),
        ({"name": "rescale", "from_": [0, 10], "to": [5, -5]}, (-5, 5)),
        ({"name": "limit", "high": 7.5}, (0, 7.5)),
        ({"name": "band", "up_to": [[3, 9], [10, 1]]}, (1, 9)),
        ({"name": "round"}, (0, 10)),
    ],
)
def test_a_step_knows_what_it_reaches(members: dict[str, Any], limits: tuple[float, float]) -> None:
    assert reached(**members) == limits


@pytest.mark.parametrize(
    ("members", "words"),
    [
        ({"name": "reverse", "range": [0, 10]}, "10 - 4 = 6"),
        ({"name": "rescale", "from_": [0, 10], "to": [0, 50]}, "4 x 5 = 20"),
        ({"name": "rescale", "from_": [0, 10], "to": [0, 1]}, "4 x 1/10 = 0.4"),
        ({"name": "rescale", "from_": [0, 10], "to": [0, 10]}, "4 = 4"),
        ({"name": "rescale", "from_": [0, 10], "to": [7, 17]}, "7 + 4 = 11"),
        ({"name": "rescale", "from_": [0, 10], "to": [7, 27]}, "7 + 4 x 2 = 15"),
        ({"name": "rescale", "from_": [0, 10], "to": [7, -3]}, "7 - 4 = 3"),
        ({"name": "rescale", "from_": [0, 10], "to": [0, -20]}, "0 - 4 x 2 = -8"),
        ({"name": "rescale", "from_": [-5, 15], "to": [20, 60]}, "20 + (4 - -5) x 2 = 38"),
        ({"name": "rescale", "from_": [-1, 10], "to": [0, 22]}, "(4 - -1) x 2 = 10"),
        ({"name": "band", "up_to": [[3, 9], [10, 1]]}, "4 falls into the band that gives 1"),
        ({"name": "table", "rows": [[n, n * 2] for n in range(11)]}, "the table gives 8 for 4"),
        ({"name": "round"}, "4 rounded, a half upwards, = 4"),
        ({"name": "limit", "high": 2.5}, "4, at most 2.5, = 2.5"),
    ],
)
def test_a_step_is_told_in_words(members: dict[str, Any], words: str) -> None:
    assert step(**members).explain(4) == words


@pytest.mark.parametrize(
    ("members", "said"),
    [
        ({"from_": [1, 10], "to": [0, 9]}, "what is rescaled runs from 0 to 10"),
        ({"from_": [-1, 9], "to": [0, 9]}, "what is rescaled runs from 0 to 10"),
        ({"from_": [12, -1], "to": [0, 9]}, "what is rescaled runs from 0 to 10"),
    ],
)
def test_what_is_rescaled_must_hold_all_that_comes(members: dict[str, Any], said: str) -> None:
    with pytest.raises(DataProblem) as caught:
        step(name="rescale", **members)
    assert caught.value.reason == said


def test_an_end_of_what_is_rescaled_has_another_end() -> None:
    with pytest.raises(DataProblem, match="what is rescaled runs from 3 to 3"):
        step((Fraction(3), Fraction(3)), name="rescale", from_=[3, 3], to=[0, 1])


@pytest.mark.parametrize("high", [-1, 0, 10, 11])
def test_a_limit_lies_between_the_ends(high: float) -> None:
    with pytest.raises(DataProblem, match="what is limited runs from 0 to 10"):
        step(name="limit", high=high)


ROWS = {"name": "table", "rows": [[n, n] for n in range(11)]}
TENTH = {"name": "rescale", "from": [0, 10], "to": [0, 1]}
TENFOLD = {"name": "rescale", "from": [0, 1], "to": [0, 10]}
HALVES = {"name": "band", "up_to": [[3, 0], [6, 2.5], [10, 10]]}
HALF_TABLE = {"name": "table", "rows": [[n, n if n % 10 == 0 else 2.5] for n in range(11)]}
WHOLE_BAND = {"name": "band", "up_to": [[0.3, 0], [0.6, 2], [1, 10]]}


def takes_a_table(*before: dict[str, Any]) -> bool:
    """Whether a table of whole numbers may follow these steps on an item from 0 to 10."""
    items = [{"item": "1", "type": "scale", "min": 0, "max": 10, "topic": "t"}]
    rule = {"name": "value", "items": ["1"], "then": [*before, ROWS]}
    try:
        scale = scale_data(rule=rule, range=[0, 10])
        parse_definition(definition_data(items=items, scales=[scale], thresholds=[]), "trial.json")
    except DataProblem as problem:
        assert problem.reason == "a table takes whole numbers only"
        return False
    return True


@pytest.mark.parametrize(
    ("before", "taken"),
    [
        ([], True),
        ([{"name": "reverse", "range": [0, 10]}], True),
        ([TENTH, TENFOLD], False),
        ([TENTH, {"name": "round"}, TENFOLD], True),
        ([TENTH, TENFOLD, {"name": "reverse", "range": [0, 10]}], False),
        ([HALVES], False),
        ([HALF_TABLE], False),
        ([TENTH, WHOLE_BAND], True),
        ([{"name": "round"}], True),
        ([HALVES, {"name": "round"}, ROWS], True),
        ([{"name": "rescale", "from": [0, 10], "to": [0, 20]}, {"name": "limit", "high": 10}], True),
        ([TENTH, {"name": "rescale", "from": [0, 1], "to": [0, 20]}, {"name": "limit", "high": 10}], False),
        ([{"name": "rescale", "from": [0, 10], "to": [0, 20]}, {"name": "limit", "high": 12.5}, {"name": "round"},
          {"name": "limit", "high": 10}], True),
    ],
)  # fmt: skip
def test_a_table_follows_only_what_is_whole_by_then(before: list[dict[str, Any]], taken: bool) -> None:
    assert takes_a_table(*before) is taken


def test_a_limit_that_is_not_whole_makes_what_it_cuts_not_whole() -> None:
    items = [{"item": "1", "type": "scale", "min": 0, "max": 20, "topic": "t"}]
    cut = {"name": "limit", "high": 10.5}
    rule = {"name": "value", "items": ["1"], "then": [cut, {"name": "table", "rows": [[n, n] for n in range(11)]}]}
    scale = scale_data(rule=rule, range=[0, 10])
    with pytest.raises(DataProblem, match="a table takes whole numbers only"):
        parse_definition(definition_data(items=items, scales=[scale], thresholds=[]), "trial.json")


@pytest.mark.parametrize(
    ("rule", "most", "taken"),
    [
        ({"name": "sum"}, 20, True),
        ({"name": "mean"}, 10, False),
        ({"name": "highest"}, 10, True),
        ({"name": "weighted", "weights": [1, 2]}, 30, True),
        ({"name": "weighted", "weights": [1.5, 0.5]}, 20, False),
        ({"name": "weighted", "weights": [1, 0.5]}, 15, False),
        ({"name": "sum", "each": [{"name": "rescale", "of": ["1"], "from": [0, 10], "to": [0, 5]}]}, 15, False),
        ({"name": "sum", "each": [{"name": "rescale", "from": [0, 10], "to": [0, 5]}]}, 10, False),
        ({"name": "sum", "each": [{"name": "rescale", "from": [0, 10], "to": [0, 5]}, {"name": "round"}]}, 10, True),
    ],
)
def test_a_table_follows_only_a_rule_that_gives_whole_numbers(rule: dict[str, Any], most: int, taken: bool) -> None:
    items = [{"item": name, "type": "scale", "min": 0, "max": 10, "topic": "t"} for name in ("1", "2")]
    table = {"name": "table", "rows": [[n, n] for n in range(most + 1)]}
    scale = scale_data(rule={"items": ["1", "2"], **rule, "then": [table]}, range=[0, most])
    data = definition_data(items=items, scales=[scale], thresholds=[])
    if taken:
        assert parse_definition(data, "trial.json").scales[0].range == (0, most)
    else:
        with pytest.raises(DataProblem, match="a table takes whole numbers only"):
            parse_definition(data, "trial.json")


@pytest.mark.parametrize("weight", ["2", None, [1], True, 0, -1])
def test_a_weight_is_a_positive_number(weight: object) -> None:
    scale = scale_data(rule={"name": "weighted", "items": ["1", "3"], "weights": [1, weight]})
    with pytest.raises(DataProblem) as caught:
        parse_definition(definition_data(scales=[scale]), "trial.json")
    assert str(caught.value) == "trial.json scales[0] rule weights: must be positive numbers"


@pytest.mark.parametrize(("value", "good"), [(100_000, True), (100_001, False), (-100_000, True), (-100_001, False)])
def test_what_a_blank_counts_as_has_limits(value: int, good: bool) -> None:
    items = [{"item": "1", "type": "integer", "min": -100_000, "max": 100_000, "topic": "t"}]
    missing = {"name": "fill", "value": value, "source": "s"}
    scale = scale_data(rule={"name": "sum", "items": ["1"]}, range=[-100_000, 100_000])
    bound = scale | {"scale": "bound", "title": "Bound", "missing": missing}
    data = definition_data(items=items, scales=[scale, bound], thresholds=[])
    if good:
        assert parse_definition(data, "trial.json").scales[1].missing.value == value
    else:
        with pytest.raises(DataProblem, match="value: must be a whole number from -100000 to 100000"):
            parse_definition(data, "trial.json")


def test_the_highest_is_found_by_value_and_not_by_numerator() -> None:
    highest = RULES["highest"]
    values = [Fraction(2, 3), Fraction(7, 2), Fraction(9, 4)]
    assert highest.compute(values, ()) == Fraction(7, 2)
    assert highest.explain(values, ()) == "the highest of 0.6667, 3.5, 2.25 = 3.5"
