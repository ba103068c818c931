"""A better answer never makes a score worse, by what each item asks rather than by what its definition says."""

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from scoring.answers import Answer
from scoring.change import best_of, gain, worst_of
from scoring.definition import Definition
from scoring.score import score
from tests.scoring.making import library
from tests.scoring.test_score_properties import draw_sheet

ALL, NONE = object(), frozenset[str]()
# The items of which more is worse: pain, complaints, difficulty, distance from the good end of a line. Of the others more is better.
MORE_IS_WORSE: dict[str, object] = {
    "ases": {"1"},
    "constant": {"1", "3", "4"},
    "dash": ALL,
    "global-change": NONE,
    "oss": NONE,
    "pain": ALL,
    "pass": NONE,
    "penn": {"1", "2", "3"},
    "promis-global": {"7"},
    "quickdash": ALL,
    "sane": NONE,
    "satisfaction": NONE,
    "spadi": ALL,
    "sst": NONE,
    "ucla": NONE,
    "woos": ALL,
    "worc": ALL,
    "wosi": ALL,
}


every_known_direction = pytest.mark.parametrize(
    "definition", [library().instrument(each) for each in MORE_IS_WORSE], ids=MORE_IS_WORSE
)


def from_worst_to_best(definition: Definition, item: str) -> list[int]:
    worse = MORE_IS_WORSE[definition.id]
    more_is_worse = worse is ALL or (isinstance(worse, set) and item in worse)
    return sorted(definition.by_item[item].numbers, reverse=more_is_worse)


@every_known_direction
@settings(deadline=None)
@given(data=st.data())
def test_a_better_answer_never_makes_a_score_worse(definition: Definition, data: st.DataObject) -> None:
    sheet = draw_sheet(data, definition, blanks=False)
    item = data.draw(st.sampled_from(list(sheet)))
    numbers = from_worst_to_best(definition, item)
    worse, better = sorted(data.draw(st.lists(st.integers(0, len(numbers) - 1), min_size=2, max_size=2)))
    before = score(definition, sheet | {item: Answer("answered", numbers[worse])})
    after = score(definition, sheet | {item: Answer("answered", numbers[better])})
    gains = [
        gain(scale, first.value, second.value)
        for scale, first, second in zip(definition.scales, before, after, strict=True)
        if first.value is not None and second.value is not None
    ]
    assert len(gains) == len(definition.scales)
    assert min(gains) >= 0, (gains, item)


@every_known_direction
def test_the_best_answers_reach_the_best_value_and_the_worst_the_worst(definition: Definition) -> None:
    ordered = {item: from_worst_to_best(definition, item) for item in definition.by_item}
    worst = score(definition, {item: Answer("answered", numbers[0]) for item, numbers in ordered.items()})
    best = score(definition, {item: Answer("answered", numbers[-1]) for item, numbers in ordered.items()})
    assert [each.value for each in worst] == [worst_of(scale) for scale in definition.scales]
    assert [each.value for each in best] == [best_of(scale) for scale in definition.scales]


@pytest.mark.parametrize("spec", ["dash", "quickdash", "spadi", "pain"])
def test_scores_of_complaints_are_better_when_lower(spec: str) -> None:
    assert {scale.better for scale in library().instrument(spec).scales} == {"lower"}
