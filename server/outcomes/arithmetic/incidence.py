"""Cumulative incidence with other events competing, by Aalen and Johansen: the share that has really had each event."""

from collections.abc import Sequence
from math import sqrt
from typing import NamedTuple

from server.outcomes.arithmetic.jackknife import NOTHING, Path, squared_influence
from server.outcomes.arithmetic.spans import Moment, Span, moments


class IncidenceStep(NamedTuple):
    """`se` by the infinitesimal jackknife by person; None where nobody, or everybody, has had the event, or nobody moves the curve."""

    time: float
    incidence: float
    se: float | None


def aalen_johansen(spans: Sequence[Span], cause: int) -> list[IncidenceStep]:
    """A step for each time at which an event of any kind happened. Status `cause` raises the curve, every other but 0 competes."""
    curve, paths = incidence_paths(spans, cause)
    sums = squared_influence(spans, paths, curve)
    return [
        IncidenceStep(path.time, level, sqrt(total) if total > NOTHING else None)
        for path, level, total in zip(paths, curve, sums, strict=True)
    ]


def incidence_paths(spans: Sequence[Span], cause: int) -> tuple[list[float], list[Path]]:
    """The incidence at each of its steps, and what each of them does to a span at risk."""
    free, incidence, drain_a, drain_b = 1.0, 0.0, 0.0, 0.0
    curve, paths = [], []
    for moment in moments(spans):
        left = moment.at_risk - moment.any_event
        share = moment.events[cause] / moment.at_risk
        incidence += free * share
        step = 1 / max(1, left)  # where nobody is left, step and drain cancel, whatever it is
        drain = moment.any_event / moment.at_risk * step
        drain_a += drain
        drain_b += free / moment.at_risk * share + incidence * drain
        steps = _steps(moment, cause, (step, incidence * step), free / moment.at_risk)
        paths.append(Path(moment.time, drain_a, drain_b, steps))
        free *= left / moment.at_risk
        curve.append(incidence)
    return curve, paths


def incidence_without_errors(spans: Sequence[Span], cause: int) -> list[tuple[float, float]]:
    """Time and incidence at each step of aalen_johansen, in a fraction of its time."""
    free, incidence, curve = 1.0, 0.0, []
    for moment in moments(spans):
        incidence += free * moment.events[cause] / moment.at_risk
        free *= (moment.at_risk - moment.any_event) / moment.at_risk
        curve.append((moment.time, incidence))
    return curve


def _steps(moment: Moment, cause: int, each: tuple[float, float], own: float) -> dict[int, tuple[float, float]]:
    """What an event does to the two running quantities: any event ends being at risk, the cause itself also raises the curve."""
    return {status: (each[0], each[1] + (own if status == cause else 0.0)) for status in moment.events}
