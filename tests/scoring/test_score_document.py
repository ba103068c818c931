"""Answers as JSON in, scores out, as `yearmark score` promises."""

import json
from typing import Any

import pytest

from scoring.answers import AnswerProblem
from scoring.document import score_document
from scoring.score import SCORING_VERSION
from tests.scoring.making import library


def sst_sheet(**changes: object) -> str:
    """All yes but for the changes, keyed `item_7`."""
    answers: dict[str, object] = {str(n): 1 for n in range(1, 13)}
    answers |= {key.removeprefix("item_"): value for key, value in changes.items()}
    return json.dumps({"answers": answers})


def problem(spec: str, text: str | bytes) -> AnswerProblem:
    with pytest.raises(AnswerProblem) as caught:
        score_document(library(), spec, text)
    return caught.value


def test_a_complete_sst_has_a_total_first_and_the_bounds_beside_it() -> None:
    document = score_document(library(), "sst", sst_sheet(item_7=0))
    assert {key: value for key, value in document.items() if key != "scales"} == {
        "instrument": "sst",
        "version": "1",
        "instrument_status": "usable",
        "scoring_version": SCORING_VERSION,
    }
    assert document["scales"][0] == {
        "scale": "total",
        "value": 11,
        "status": "scored",
        "reason": None,
        "answered": 12,
        "items": 12,
        "method": "number of yes of 12, all 12 needed",
        "range": [0, 12],
        "better": "higher",
        "bound": False,
    }
    assert [scale["bound"] for scale in document["scales"]] == [False, True, True]
    assert [scale["value"] for scale in document["scales"]] == [11, 11, 11]


def test_an_sst_with_a_blank_has_no_total_but_bounds() -> None:
    total, lowest, highest = score_document(library(), "sst@1", sst_sheet(item_7=None))["scales"]
    assert (total["value"], total["status"]) == (None, "not_scored")
    assert total["reason"] == "11 of 12 items answered, all needed (1 not answered)"
    assert (lowest["value"], highest["value"]) == (11, 12)
    assert lowest["reason"] == "1 of 12 items blank, each counted as 0 (1 not answered)"


def test_what_is_left_out_counts_as_not_answered() -> None:
    assert score_document(library(), "pain", '{"answers": {}}')["scales"][0]["status"] == "not_scored"


def test_the_scores_can_be_written_as_json() -> None:
    specs = [each.id for each in library().definitions.values() if each.scales]
    documents = [score_document(library(), spec, '{"answers": {"1": 1}}') for spec in specs]
    assert [json.loads(json.dumps(each)) for each in documents] == documents != []


@pytest.mark.parametrize(
    ("spec", "answers", "message"),
    [
        ("sst", '{"13": 1}', 'item "13": is not an item of sst@1; its items: 1, 2, 3, 4, 5, 6, 7, 8, 9, 10, 11, 12'),
        ("sst", '{"7": 2}', "item 7: 2 is not allowed; allowed: 1, 0"),
        ("sst", '{"7": -1}', "item 7: -1 is not allowed; allowed: 1, 0"),
        ("sst", '{"7": "1"}', "item 7: a text is not a number; allowed: 1, 0"),
        ("sst", '{"7": "\u0661"}', "item 7: a text is not a number; allowed: 1, 0"),
        ("sst", '{"\u0667": 1}', 'item "\\u0667": is not an item of sst@1'),
        ("sst", '{"7": true}', "item 7: true is not a number; allowed: 1, 0"),
        ("sst", '{"7": [1]}', "item 7: is not a number; allowed: 1, 0"),
        ("sst", '{"7": 0.0}', "item 7: 0.0 is not a whole number; allowed: 1, 0"),
        ("sst", '{"07": 1}', 'item "07": is not an item of sst@1'),
        ("pain", '{"1": 3.7}', "item 1: 3.7 is not a whole number; allowed: whole numbers from 0 to 10"),
        ("pain", '{"1": 11}', "item 1: 11 is not allowed; allowed: whole numbers from 0 to 10"),
        ("ases", '{"1": 11}', "item 1: 11 is not allowed; allowed: whole numbers from 0 to 10"),
        ("ases", '{"2": 4}', "item 2: 4 is not allowed; allowed: 3, 2, 1, 0"),
        ("ases", '{"12": 1}', 'item "12": is not an item of ases@1'),
        ("dash", '{"1": 0}', "item 1: 0 is not allowed; allowed: 1, 2, 3, 4, 5"),
        ("dash", '{"39": 1}', 'item "39": is not an item of dash@1'),
        ("oss", '{"1": 5}', "item 1: 5 is not allowed; allowed: 4, 3, 2, 1, 0"),
        ("woos", '{"1": 50.5}', "item 1: 50.5 is not a whole number; allowed: whole numbers from 0 to 100"),
        ("ucla", '{"1": 3}', "item 1: 3 is not allowed; allowed: 10, 8, 6, 4, 2, 1"),
        ("constant", '{"14": 50001}', "item 14: 50001 is not allowed; allowed: whole numbers from 0 to 50000"),
        ("constant", '{"6": 30.5}', "item 6: 30.5 is not a whole number; allowed: whole numbers from 0 to 180"),
        (
            "promis-global",
            '{"7": "not_applicable"}',
            "item 7: a text is not a number; allowed: whole numbers from 0 to 10",
        ),
        ("penn", '{"5": "does not apply"}', "item 5: a text is not a number; allowed: 3, 2, 1, 0"),
        ("sane", '{"1": 101}', "item 1: 101 is not allowed; allowed: whole numbers from 0 to 100"),
        ("sane", '{"1": 1e2}', "item 1: 100.0 is not a whole number; allowed: whole numbers from 0 to 100"),
    ],
)
def test_an_answer_outside_its_codes_names_the_item_and_what_is_allowed(spec: str, answers: str, message: str) -> None:
    assert str(problem(spec, f'{{"answers": {answers}}}')).startswith(message)


def test_all_faults_are_told_at_once() -> None:
    found = problem("sst", sst_sheet(item_2=7, item_5="no", item_14=1))
    assert list(found.problems) == ['item "14"', "item 2", "item 5"]


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ('{"answers": {"1": 1, "1": 0}}', 'the key "1" stands there twice'),
        ('{"answers": {"1": \u0661}}', "not JSON"),
        ("", "not JSON"),
        (b'{"answers": {"1": \xff}}', "not UTF-8 at byte 18"),
        ("[]", 'must be an object such as {"answers": {"1": 1, "2": null}}'),
        ('{"answers": [1, 0]}', "must be an object such as"),
        ('{"1": 1}', "must be an object such as"),
        ('{"answers": {}, "name": "x"}', '"name" beside answers is not understood'),
    ],
)
def test_text_that_is_no_answer_sheet_is_refused_plainly(text: str | bytes, message: str) -> None:
    found = problem("pain", text)
    assert list(found.problems) == ["answers"]
    assert message in str(found)


@pytest.mark.parametrize("spec", ["nothing", "sst@2", "sst@", "SST"])
def test_an_unknown_instrument_is_told_what_there_is(spec: str) -> None:
    said = f'instrument: there is no instrument "{spec}"; there are: ases@1, constant@1, dash@1, '
    assert str(problem(spec, "{}")).startswith(said)


def test_a_form_of_single_questions_has_no_score() -> None:
    said = "instrument: since@2 is a form of single questions and has no score"
    assert str(problem("since", '{"answers": {}}')) == said


def test_the_explanation_shows_the_arithmetic_and_the_blanks() -> None:
    blanks: dict[str, Any] = {"item_7": None, "item_8": 0}
    lines = score_document(library(), "sst", sst_sheet(**blanks), explain=True).splitlines()
    assert lines[0] == "Simple Shoulder Test (sst@1), scoring version 1"
    assert "    8  about 9 kg (20 lb) carried at the side: 0" in lines
    assert "  items without an answer: 7" in lines
    assert "  result: no score" in lines
    assert "  1 + 1 + 1 + 1 + 1 + 1 + 0 + 0 + 1 + 1 + 1 + 1 = 10" in lines
    assert "  result: 11 in a range from 0 to 12, higher is better" in lines


def test_the_explanation_of_a_single_item_is_the_answer_itself() -> None:
    text = score_document(library(), "pain", '{"answers": {"1": 4}}', explain=True)
    assert "  the answer itself: 4\n  result: 4 in a range from 0 to 10, lower is better\n" in text
