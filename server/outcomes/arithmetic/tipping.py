"""The tipping point: by how much the silent would have to be worse than those who answered for the result to be another."""

from dataclasses import dataclass


@dataclass(frozen=True)
class Tip:
    """`worse_by` on the scale of the result, never below 0; `silent`: what the silent would then be. `possible`: whether the scale has
    room for that."""

    worse_by: float
    silent: float
    possible: bool


def tipping_point(
    mean: float, answered: int, silent: int, line: float, *, worst: float, higher_is_better: bool = True
) -> Tip | None:
    """Where answered and silent together come to stand at `line`; None where the answered stand at it or beyond, or nobody is silent.

    `worst`: the end of the scale at which nobody can be worse.
    """
    sign = 1 if higher_is_better else -1
    room = sign * (mean - line)
    if not silent or room <= 0:
        return None
    by = room * (answered + silent) / silent
    then = mean - sign * by
    return Tip(by, then, sign * (then - worst) >= 0)
