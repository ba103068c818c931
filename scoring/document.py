"""`yearmark score`: answers as JSON in, scores as a JSON-ready value out."""

from collections.abc import Mapping
from typing import Any, Literal, overload

from scoring.answers import Answer, AnswerProblem, read_sheet
from scoring.definition import Definition
from scoring.explain import explain as explain_scores
from scoring.library import Library, UnknownInstrument
from scoring.score import SCORING_VERSION, ScaleScore, score
from scoring.strict_json import JsonProblem, load_strict_json, shown

Text = str | bytes  # bytes are UTF-8
Scores = dict[str, Any]


@overload
def score_document(library: Library, spec: str, json_text: Text, *, explain: Literal[True]) -> str: ...
@overload
def score_document(library: Library, spec: str, json_text: Text, *, explain: Literal[False] = ...) -> Scores: ...
@overload
def score_document(library: Library, spec: str, json_text: Text, *, explain: bool) -> Scores | str: ...
def score_document(library: Library, spec: str, json_text: Text, *, explain: bool = False) -> Scores | str:
    """Scores `{"answers": {"1": 1, "2": null}}` by the instrument `sst` or `sst@1`.

    Returns `{"instrument", "version", "instrument_status", "scoring_version", "scales": […]}`, the main scale first; a scale that is a
    `bound` is no score, but an end of what one can have been. With `explain` the arithmetic as text.
    Raises AnswerProblem, whose text says plainly what is wrong and what is allowed.
    """
    definition = _instrument(library, spec)
    answers = _answers(definition, json_text)
    if explain:
        return explain_scores(definition, answers)
    return {
        "instrument": definition.id,
        "version": definition.version,
        "instrument_status": definition.status,
        "scoring_version": SCORING_VERSION,
        "scales": [_scale_document(each) for each in score(definition, answers)],
    }


def _instrument(library: Library, spec: str) -> Definition:
    try:
        definition = library.instrument(spec)
    except UnknownInstrument as problem:
        raise AnswerProblem({"instrument": [str(problem)]}) from problem
    if not definition.scales:
        raise AnswerProblem({"instrument": [f"{definition.spec} is a form of single questions and has no score"]})
    return definition


def _answers(definition: Definition, json_text: Text) -> dict[str, Answer]:
    """What is not a number is kept while reading, so that the item it was given for can be named."""
    try:
        document = load_strict_json(json_text, keep_not_finite=True)
    except JsonProblem as problem:
        raise AnswerProblem({"answers": [str(problem)]}) from problem
    if not isinstance(document, dict) or not isinstance(document.get("answers"), dict):
        raise AnswerProblem({"answers": ['must be an object such as {"answers": {"1": 1, "2": null}}']})
    unknown = [name for name in document if name != "answers"]
    if unknown:
        raise AnswerProblem({"answers": [f"{shown(name)} beside answers is not understood" for name in unknown]})
    values: Mapping[str, object] = document["answers"]
    return read_sheet(definition, values)


def _scale_document(result: ScaleScore) -> dict[str, Any]:
    return {
        "scale": result.scale,
        "value": result.value,
        "status": result.status,
        "reason": result.reason,
        "answered": result.answered,
        "items": result.items,
        "method": result.method,
        "range": list(result.range),
        "better": result.better,
        "bound": "bound" in result.flags,
    }
