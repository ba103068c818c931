"""instruments/README.md names everything a definition may hold, and its example of a rule is one."""

import json
import re
from pathlib import Path

import pytest

import instruments
from scoring.definition import BASES, FINDERS, ITEM_TYPES, KINDS, RECALLS, STATUSES, THRESHOLD_KINDS
from scoring.parse import UNITS, parse_definition
from scoring.rules import MISSING_RULES, RULES
from scoring.steps import STEPS
from tests.scoring.making import definition_data, scale_data

PAGE = (Path(next(iter(instruments.__path__))) / "README.md").read_text("utf-8")
WORDS = {*RULES, *STEPS, *MISSING_RULES, *BASES, *UNITS, *KINDS, *STATUSES, *RECALLS, *ITEM_TYPES, *THRESHOLD_KINDS}


@pytest.mark.parametrize("word", sorted(WORDS | {FINDERS[1]}))
def test_every_word_of_the_format_stands_there(word: str) -> None:
    assert f"`{word}`" in PAGE


@pytest.mark.parametrize("member", sorted({member for members, _ in STEPS.values() for member in members}))
def test_every_member_of_a_step_stands_in_the_table_of_steps(member: str) -> None:
    assert re.search(rf"^\|.*`{member}`", PAGE, re.MULTILINE)


def test_the_example_of_a_rule_is_understood() -> None:
    (block,) = [each for each in re.findall(r"```json\n(.*?)```", PAGE, re.DOTALL) if '"each"' in each]
    items = [{"item": "2", "type": "scale", "min": 0, "max": 10, "topic": "t"}]
    items += [{"item": "3", "type": "scale", "min": 0, "max": 10, "topic": "t"}]
    items += [{"item": "6", "type": "integer", "min": 0, "max": 180, "unit": "degrees", "topic": "t"}]
    scale = scale_data(rule=json.loads(block), range=[0, 100])
    assert parse_definition(definition_data(items=items, scales=[scale]), "README.md").scales[0].range == (0, 100)
