"""Scores from answers. A score says how it came about: instrument, version, method, what was answered."""

from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from scoring.answers import NOT_GIVEN, Answer
from scoring.definition import Better, Definition, Missing, Number, Scale
from scoring.rules import RULES

# Goes up when the same answers could give another score. Kept with every score.
SCORING_VERSION = "1"

STATE_WORDS = {
    "declined": "declined",
    "skipped": "skipped",
    "not_reached": "not reached",
    "not_applicable": "not applicable",
    NOT_GIVEN: "not answered",
}


@dataclass(frozen=True, slots=True)
class ScaleScore:
    """One scale of one answer sheet. `items` counts what the scale needs, `answered` what it got."""

    instrument: str
    version: str
    scale: str
    value: Number | None
    status: str  # scored, prorated or not_scored
    reason: str | None
    answered: int
    items: int
    method: str
    range: tuple[Number, Number]
    better: Better
    flags: tuple[str, ...] = ()
    scoring_version: str = SCORING_VERSION


def score(definition: Definition, answers: Mapping[str, Answer]) -> tuple[ScaleScore, ...]:
    """Every scale, in the order of the definition, of answers that have been checked.

    An item that is not there was not answered.
    """
    return tuple(_score_scale(definition, scale, answers) for scale in definition.scales)


def values_of(scale: Scale, answers: Mapping[str, Answer]) -> list[Number | None]:
    """The number of each item of the scale, in its order; None where the item was not answered."""
    values: list[Number | None] = []
    for name in scale.rule.items:
        given = answers.get(name)
        value = given.value if given is not None and given.state == "answered" else None
        values.append(value if isinstance(value, int) else None)
    return values


def fill_blanks(missing: Missing, values: Sequence[Number | None]) -> list[Number] | None:
    """The numbers the rule works on by the scale's missing-item rule; None when there is no score."""
    given = [value for value in values if value is not None]
    if missing.value is not None and given:
        return [missing.value if value is None else value for value in values]
    return given if given and len(given) == len(values) else None


def _score_scale(definition: Definition, scale: Scale, answers: Mapping[str, Answer]) -> ScaleScore:
    values = values_of(scale, answers)
    blanks = values.count(None)
    complete = fill_blanks(scale.missing, values)
    return ScaleScore(
        instrument=definition.id,
        version=definition.version,
        scale=scale.scale,
        value=None if complete is None else RULES[scale.rule.name].compute(complete),
        status="not_scored" if complete is None else "scored",
        reason=_reason(scale, answers, blanks) if blanks else None,
        answered=len(values) - blanks,
        items=len(values),
        method=scale.method,
        range=scale.range,
        better=scale.better,
        flags=("bound",) if scale.missing.name == "fill" else (),
    )


def _reason(scale: Scale, answers: Mapping[str, Answer], blanks: int) -> str:
    """Counts, not items: it stays short with thirty items, and `explain` names them."""
    total = len(scale.rule.items)
    if scale.missing.value is None:
        text = f"{total - blanks} of {total} items answered, all needed"
    elif blanks == total:
        text = "no item answered"
    else:
        text = f"{blanks} of {total} items blank, each counted as {scale.missing.value}"
    states = Counter(answers[name].state if name in answers else NOT_GIVEN for name in scale.rule.items)
    why = ", ".join(f"{states[state]} {word}" for state, word in STATE_WORDS.items() if states[state])
    return f"{text} ({why})"
