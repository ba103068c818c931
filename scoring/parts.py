"""Scores the answers to one instrument of a form: what does not fit the definition has no score."""

from collections.abc import Mapping

from scoring.answers import Answer, AnswerProblem, Problems, value_problem
from scoring.definition import Definition
from scoring.score import ScaleScore, score
from scoring.strict_json import shown


def score_part(definition: Definition, answers: Mapping[str, Answer]) -> tuple[ScaleScore, ...]:
    """Every scale, none for a form. Raises AnswerProblem for an answer that the definition does not accept.

    An item that can name a person keeps its state and has no value, which is no fault.
    """
    if not definition.scales:
        return ()
    problems: Problems = {}
    for name, answer in answers.items():
        if answer.state == "answered" and (fault := _fault(definition, name, answer.value)):
            problems[f"item {name if name in definition.by_item else shown(name)}"] = [fault]
    if problems:
        raise AnswerProblem(problems)
    return score(definition, answers)


def _fault(definition: Definition, name: str, value: object) -> str | None:
    item = definition.by_item.get(name)
    if item is None:
        return f"is not an item of {definition.spec}"
    return None if item.identifying else value_problem(item, value)
