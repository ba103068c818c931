"""Answers that follow from the person: the same weeks in each form, the better of two shoulders, and every form of every plan."""

from random import Random

import pytest

from scoring.library import Library, load_library
from server.demo.answers import Wanted, draw_parts
from server.demo.traits import LEFT, NEITHER, RIGHT, back_by, preferred
from server.forms.asked import asked_parts
from server.forms.check import check_answers
from server.timepoints.plans import shipped_plans

SEEDS = [f"shoulder {number}" for number in range(300)]


@pytest.fixture(scope="module")
def library() -> Library:
    return load_library()


def test_who_is_back_tells_the_same_weeks_ever_after() -> None:
    changed = []
    for seed in SEEDS:
        early, later = back_by(seed, 13.0), back_by(seed, 52.0)
        weeks = {name: value for name, value in early.items() if name.endswith("a")}
        assert all(value <= 13 for value in weeks.values())
        changed += [name for name, value in weeks.items() if later[name] != value]
    assert changed == []
    back = sum("return/2a" in back_by(seed, 52.0) for seed in SEEDS)
    assert sum("return/2a" in back_by(seed, 13.0) for seed in SEEDS) < back / 2


def test_the_better_shoulder_is_preferred_most_often_and_alike_ones_not_told_apart() -> None:
    random = Random(1)
    of_better = [preferred(random, {"right": 10.0, "left": 7.0})["preference/1"] for _ in range(200)]
    assert of_better.count(RIGHT) > 150 > 20 > of_better.count(LEFT)
    alike = [preferred(random, {"right": 9.0, "left": 9.0})["preference/1"] for _ in range(200)]
    assert alike.count(NEITHER) > 80
    assert preferred(random, {"right": 9.0}) == {}


def test_every_form_of_every_plan_that_is_shipped_can_be_answered(library: Library) -> None:
    asked = [asked_parts(library, entry.parts) for plan in shipped_plans().values() for entry in plan.entries()]
    assert len(asked) > 100
    for parts in asked:
        texts = {part.instrument: f"{part.instrument}/en/descriptive-1" for part in parts}
        given = draw_parts(library, parts, texts, Wanted(8.0, back_by("a shoulder", 30.0)), Random(3))
        check_answers(library, parts, given)
