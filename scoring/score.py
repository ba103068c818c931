"""Scores from answers. A score says how it came about: instrument, version, method, what was answered."""

from collections import Counter
from collections.abc import Mapping
from typing import NamedTuple

from scoring.answers import NO_ANSWER, NOT_GIVEN, Answer
from scoring.compute import Computation, compute_scales
from scoring.definition import Better, Definition, Scale
from scoring.steps import Number, number_of

# Goes up when the same answers could give another score. Kept with every score.
SCORING_VERSION = "1"

STATE_WORDS = {
    "declined": "declined",
    "skipped": "skipped",
    "not_reached": "not reached",
    "not_applicable": "not applicable",
    NOT_GIVEN: "not answered",
}


class ScaleScore(NamedTuple):
    """One scale of one answer sheet. `items` counts what the scale needs, `answered` what it got.

    `flags`: `bound`, or words on a rule for blanks that was used and has no published source that was read.
    """

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
    computed = compute_scales(definition, answers)
    return tuple([_scale_score(definition, scale, answers, computed) for scale in definition.scales])


def _scale_score(
    definition: Definition, scale: Scale, answers: Mapping[str, Answer], computed: Mapping[str, Computation]
) -> ScaleScore:
    computation, items = computed[scale.scale], len(definition.items_under[scale.scale])
    value = None if computation.value is None else number_of(computation.value)
    return ScaleScore(
        instrument=definition.id,
        version=definition.version,
        scale=scale.scale,
        value=value,
        status="not_scored" if value is None else "prorated" if computation.prorated else "scored",
        reason=None if computation.answered == items else _reason(definition, scale, answers, computed),
        answered=computation.answered,
        items=items,
        method=scale.method,
        range=scale.range,
        better=scale.better,
        flags=("bound",) if scale.missing.name == "fill" else computation.flags,
    )


def _reason(
    definition: Definition, scale: Scale, answers: Mapping[str, Answer], computed: Mapping[str, Computation]
) -> str:
    """Counts, not items: it stays short with thirty items, and `explain` names them."""
    counts = Counter(answers.get(name, NO_ANSWER).state for name in definition.items_under[scale.scale])
    blanks = ", ".join(f"{counts[state]} {words}" for state, words in STATE_WORDS.items() if counts[state])
    outcome = (_outcome_over_scales if scale.rule.scales else _outcome_over_items)(scale, counts, computed)
    return "; ".join((f"{outcome} ({blanks})", *computed[scale.scale].flags))


def _outcome_over_scales(scale: Scale, states: Counter[str], computed: Mapping[str, Computation]) -> str:
    answered = f"{states['answered']} of {states.total()} items answered"
    lacking = [name for name in scale.rule.scales if computed[name].value is None]
    if lacking:
        return f"{answered}, no value for {', '.join(lacking)}"
    return f"{answered}, {', '.join(name for name in scale.rule.scales if computed[name].prorated)} prorated"


def _outcome_over_items(scale: Scale, states: Counter[str], computed: Mapping[str, Computation]) -> str:
    missing, total = scale.missing, states.total()
    blanks = total - states["answered"]
    if missing.name == "fill":
        if blanks == total:
            return "no item answered"
        return f"{blanks} of {total} items blank, each counted as {missing.value}"
    answered = f"{states['answered']} of {total} items answered"
    if missing.name == "complete":
        return f"{answered}, all needed"
    if computed[scale.scale].value is not None:
        return f"{answered}, prorated"
    others = " and the rest not applicable" if missing.name == "applicable" else ""
    return f"{answered}, {missing.needs} needed{others}"
