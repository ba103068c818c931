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
    known = definition.by_item
    problems: Problems = {}
    for name, answer in answers.items():
        if answer.state != "answered" or (name in known and known[name].identifying):
            continue
        fault = value_problem(known[name], answer.value) if name in known else f"is not an item of {definition.spec}"
        if fault:
            problems[f"item {name if name in known else shown(name)}"] = [fault]
    if problems:
        raise AnswerProblem(problems)
    return score(definition, answers)
