"""Answers that were scored once are scored again to the same bits, for as long as the scoring version is the same."""

from typing import Any

import pytest

from scoring.parts import score_part
from scoring.score import SCORING_VERSION
from tests.scoring.making import library
from tests.vectors.make_scores import as_answers, recorded, scored

RECORDED = recorded()


def test_every_instrument_with_a_score_is_recorded_under_this_scoring_version() -> None:
    with_scales = {spec for spec, each in library().definitions.items() if each.scales}
    assert with_scales - RECORDED.keys() == set(), (
        f"run python -m tests.vectors.make_scores for version {SCORING_VERSION}"
    )


@pytest.mark.parametrize("spec", RECORDED)
def test_recorded_answer_sheets_score_to_the_same_bits(spec: str) -> None:
    document: dict[str, Any] = RECORDED[spec]
    assert len(document["sheets"]) >= 12
    definition = library().instrument(spec)
    for sheet in document["sheets"]:
        assert scored(definition, document["items"], sheet["answers"]) == sheet["scores"], sheet["answers"]


@pytest.mark.parametrize("spec", RECORDED)
def test_recorded_scales_keep_their_items_and_the_words_of_their_method(spec: str) -> None:
    document: dict[str, Any] = RECORDED[spec]
    found = score_part(library().instrument(spec), as_answers(document["items"], document["sheets"][0]["answers"]))
    assert [[each.scale, each.items, each.method] for each in found] == document["scales"]


def test_the_record_holds_blanks_prorated_scores_and_values_that_no_decimal_writes() -> None:
    scores = [score for document in RECORDED.values() for sheet in document["sheets"] for score in sheet["scores"]]
    assert {"scored", "prorated", "not_scored"} == {status for _value, status, _answered, _reason in scores}
    ends = [value.split("p")[0][-3:] for value, *_rest in scores if value is not None and value != "0x0.0p+0"]
    assert sum(end != "000" for end in ends) > 50
