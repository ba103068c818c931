"""Refuses published values that contradict their scale, their own words or each other."""

import re
from collections.abc import Sequence
from fractions import Fraction

from scoring.change import worst_of
from scoring.data_reader import Node
from scoring.definition import THRESHOLD_IMPLANTS, Norm, Scale, Threshold
from scoring.printed_decimals import is_exceeded, is_reached
from scoring.steps import fraction_of

_YEAR = Fraction(1461, 4)
_DAYS = {"day": Fraction(1), "week": Fraction(7), "month": _YEAR / 12, "year": _YEAR}
_FOLLOW_UP = re.compile(rf"([0-9]+) ({'|'.join(_DAYS)})s?\b")
_HEMIARTHROPLASTY = frozenset(each for each in THRESHOLD_IMPLANTS if each.endswith("_hemi"))


def check_threshold(node: Node, one: Threshold, scale: Scale) -> None:
    """DataProblem where a threshold of this scale contradicts it or itself. `node` is where it was read."""
    if one.kind == "pass" and _meets(one, scale):
        raise node.refuse("value", f"is met by every score: {worst_of(scale)} is the worst there is")
    _check_spread(node, one, scale)
    _check_follow_up(node, one)
    if one.implants:
        _check_implants(node, one)


def check_range_ends(nodes: Sequence[Node], thresholds: Sequence[Threshold]) -> None:
    """An end of a range has another end, for the same people."""
    ends = [(_people(one), one.value) for one in thresholds if one.range_end]
    for node, one in zip(nodes, thresholds, strict=True):
        if one.range_end and not any(people == _people(one) and value != one.value for people, value in ends):
            raise node.refuse("range_end", "the other end of the range is not there, with the same people and citation")


def check_norms(nodes: Sequence[Node], norms: Sequence[Norm]) -> None:
    """No people of one source have two norms on one scale."""
    seen: set[tuple[str, str, str]] = set()
    for node, one in zip(nodes, norms, strict=True):
        key = (one.scale, one.population, one.citation)
        if key in seen:
            raise node.refuse("population", "has a norm already, on the same scale and with the same citation")
        seen.add(key)


def _meets(level: Threshold, scale: Scale) -> bool:
    """Whether the worst score is acceptable, at the decimals in which the level was printed."""
    worst = fraction_of(worst_of(scale))
    return is_reached(level, worst) if scale.better == "higher" else not is_exceeded(level, worst)


def _check_spread(node: Node, one: Threshold, scale: Scale) -> None:
    """Beside a change it is smaller than that; beside a level, smaller than the scale is long."""
    low, high = scale.range
    limit, limit_words = (high - low, "the length of the scale") if one.kind == "pass" else (one.value, "the value")
    if one.plus_minus is not None and one.plus_minus >= limit:
        raise node.refuse("plus_minus", f"must be smaller than {limit_words}")


def _check_follow_up(node: Node, one: Threshold) -> None:
    words = _FOLLOW_UP.match(one.follow_up)
    if words is None:
        return
    days = round(int(words[1]) * _DAYS[words[2]])
    if one.follow_up_days != days:
        raise node.refuse("follow_up_days", f"must be {days}: follow_up begins with {words[0]}")


def _check_implants(node: Node, one: Threshold) -> None:
    if one.treatment != "arthroplasty":
        raise node.refuse("implants", "belongs to arthroplasty only")
    hemiarthroplasty = not _HEMIARTHROPLASTY.isdisjoint(one.implants)
    if one.holds_hemiarthroplasty not in (None, hemiarthroplasty):
        implants = "names a hemiarthroplasty" if hemiarthroplasty else "names none"
        raise node.refuse("holds_hemiarthroplasty", f"contradicts implants, which {implants}")


def _people(one: Threshold) -> tuple[str, str, str, str]:
    return one.kind, one.scale, one.population, one.citation
