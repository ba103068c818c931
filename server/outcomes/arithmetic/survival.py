"""Kaplan-Meier: the share without the event were there no other; its standard errors, limits and median."""

from collections.abc import Sequence
from itertools import zip_longest
from math import exp, isclose, log, sqrt
from statistics import NormalDist
from typing import NamedTuple

from server.outcomes.arithmetic.jackknife import Path, squared_influence
from server.outcomes.arithmetic.spans import CENSORED, EVENT, Span, moments


class SurvivalStep(NamedTuple):
    """`se` by Greenwood; None where the curve stands at 1 or 0, of which the formula says nothing."""

    time: float
    at_risk: int
    events: int
    survival: float
    se: float | None


def kaplan_meier(spans: Sequence[Span]) -> list[SurvivalStep]:
    """A step for each time at which an event of any kind happened; only status 1 lowers the curve, every other end censors."""
    survival, greenwood, steps = 1.0, 0.0, []
    for moment in moments(spans):
        events, left = moment.events[EVENT], moment.at_risk - moment.events[EVENT]
        survival *= left / moment.at_risk
        greenwood += events / (moment.at_risk * max(1, left))  # where nobody is left, the curve stays at 0
        se = survival * sqrt(greenwood) if 0 < survival < 1 else None
        steps.append(SurvivalStep(moment.time, moment.at_risk, events, survival, se))
    return steps


def robust_survival_se(spans: Sequence[Span]) -> list[float | None]:
    """The standard error by person at each step of kaplan_meier: the infinitesimal jackknife, summed over a person's spans."""
    drain, paths = 0.0, []
    for moment in moments(spans):
        events, left = moment.events[EVENT], moment.at_risk - moment.events[EVENT]
        step = 1 / max(1, left)
        drain += events / moment.at_risk * step
        paths.append(Path(moment.time, drain, 0.0, {EVENT: (step, 0.0)}))
    curve = [step.survival for step in kaplan_meier(spans)]
    sums = squared_influence(spans, paths, [1.0] * len(paths))
    return [level * sqrt(total) if 0 < level < 1 else None for level, total in zip(curve, sums, strict=True)]


def log_log_limits(share: float, se: float | None, level: float = 0.95) -> tuple[float | None, float | None]:
    """Limits symmetrical on the scale log(-log(share)); they lie between 0 and 1. None at 0 and 1, and without a standard error."""
    if not se or not 0 < share < 1:
        return None, None
    width = NormalDist().inv_cdf((1 + level) / 2) * se / (share * abs(log(share)))
    return exp(log(share) * exp(width)), exp(log(share) * exp(-width))


def median_time(steps: Sequence[SurvivalStep]) -> float | None:
    """When the curve comes down to a half; None where it does not. Where it stays level there, the middle of the level part, or its
    beginning where no later fall shows its end."""
    falls = [step for step in steps if step.events]
    for step, later in zip_longest(falls, falls[1:]):
        if isclose(step.survival, 0.5):  # a product of many factors meets a half only nearly
            return step.time if later is None else (step.time + later.time) / 2
        if step.survival < 0.5:
            return step.time
    return None


def follow_up_median(spans: Sequence[Span]) -> float | None:
    """The median of the time watched, by the reverse Kaplan-Meier: being censored is the event, and an event ends the watching."""
    turned = [span._replace(status=EVENT if span.status == CENSORED else CENSORED) for span in spans]
    return median_time(kaplan_meier(turned))
