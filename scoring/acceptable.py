"""Whether a state is acceptable: by a published level of a score, or by the person's own answer. Never mixed."""

from collections.abc import Iterable
from dataclasses import dataclass

from scoring.definition import Scale, Threshold
from scoring.printed_decimals import is_exceeded, is_reached
from scoring.steps import Number, fraction_of

BY_THRESHOLD, BY_QUESTION = "threshold", "question"


@dataclass(frozen=True)
class State:
    """`acceptable` is None where it cannot be judged, and `reason` says why.

    `description`: from before surgery, which tells how people come to it and is no outcome.
    """

    basis: str
    acceptable: bool | None
    reason: str | None = None
    description: bool = False


def by_threshold(scale: Scale, threshold: Threshold, value: Number | None, *, year: int | None) -> State:
    """A score against a level, at the decimals in which the level was printed.

    `year` is the timepoint's: None before surgery, 0 before the first year is over.
    """
    if threshold.kind != "pass" or threshold.scale != scale.scale:
        raise ValueError(f"a threshold of kind {threshold.kind} on {threshold.scale} is no level of {scale.scale}")
    if year is None:
        return State(BY_THRESHOLD, None, "before surgery a level of a score says nothing")
    if year < 1:
        return State(BY_THRESHOLD, None, "not before one year after surgery")
    if value is None:
        return State(BY_THRESHOLD, None, "no score")
    exact = fraction_of(value)
    reached = is_reached(threshold, exact) if scale.better == "higher" else not is_exceeded(threshold, exact)
    return State(BY_THRESHOLD, reached)


def by_question(value: Number | None, *, year: int | None) -> State:
    """The answer to the acceptable state question: 1 yes, 0 no."""
    if value is None:
        return State(BY_QUESTION, None, "not answered", description=year is None)
    if value not in (0, 1):
        raise ValueError("the question is answered by 1 or 0")
    return State(BY_QUESTION, value == 1, description=year is None)


@dataclass(frozen=True)
class StateCounts:
    """`descriptions` are counted apart, neither as judged nor as not judged."""

    basis: str
    judged: int
    acceptable: int
    not_judged: int
    descriptions: int


def count_states(states: Iterable[State]) -> StateCounts:
    """Raises ValueError for states of both kinds, or for none at all: there is nothing to name the count after."""
    given = list(states)
    bases = {state.basis for state in given}
    if len(bases) != 1:
        raise ValueError("states by a level and states by the question are not counted together, nor is nothing")
    outcomes = [state for state in given if not state.description]
    judged = [state for state in outcomes if state.acceptable is not None]
    return StateCounts(
        basis=bases.pop(),
        judged=len(judged),
        acceptable=sum(state.acceptable is True for state in judged),
        not_judged=len(outcomes) - len(judged),
        descriptions=len(given) - len(outcomes),
    )
