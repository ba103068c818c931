"""`yearmark stats intervals`: from a CSV of intervals to the masses and quartiles of each group."""

from collections.abc import Sequence
from math import inf
from typing import Any

from server.outcomes.arithmetic.intervals import Ends, quartile, self_consistent
from server.outcomes.arithmetic.self_consistency import NotSettled
from server.outcomes.arithmetic.table import Row, TableProblem, duration, only_columns, read_table

NEEDED, WANTED = ("left", "right"), ("group",)
EVERYBODY = "all"
QUARTILES = {"25": 0.25, "50": 0.5, "75": 0.75}
METHOD = (
    "self-consistent estimator (Turnbull 1976) on the innermost intervals (left, right]; left = right is exact, right null is not yet;"
    " a quartile is the first interval by whose end that share has happened"
)


def intervals_document(csv_text: str) -> dict[str, Any]:
    """`{"groups": {NAME: {"table": [{"left", "right", "mass"}], "quartiles": {"25": [left, right], ...}}}, ...}`."""
    table = read_table(csv_text, NEEDED)
    only_columns(table, NEEDED, WANTED)
    groups: dict[str, list[Ends]] = {}
    incomplete = 0
    for row in table.rows:
        ends, group = _ends(row), row.cells.get("group", EVERYBODY)
        if ends is None or not group:
            incomplete += 1
        else:
            groups.setdefault(group, []).append(ends)
    if not groups:
        raise TableProblem("there is no row with a left or a right end")
    return {
        "groups": {name: _group(name, intervals) for name, intervals in groups.items()},
        "incomplete": incomplete,
        "method": METHOD,
    }


def _ends(row: Row) -> Ends | None:
    """An empty left is 0, an empty right not yet; None where both are empty, which tells nothing."""
    left, right = duration(row, "left"), duration(row, "right")
    if left is None and right is None:
        return None
    ends = (0.0 if left is None else left, inf if right is None else right)
    if ends[0] > ends[1]:
        raise TableProblem(
            f"line {row.line}: left is {ends[0]:g} and right {ends[1]:g}; an interval cannot end before it begins"
        )
    return ends


def _group(name: str, intervals: Sequence[Ends]) -> dict[str, Any]:
    try:
        masses = self_consistent(intervals)
    except NotSettled as problem:
        raise TableProblem(f"group {ascii(name)[:40]}: {problem}; no number is better than a wrong one") from problem
    quartiles = {named: quartile(masses, share) for named, share in QUARTILES.items()}
    return {
        "table": [{"left": left, "right": _known(right), "mass": mass} for left, right, mass in masses],
        "quartiles": {named: [left, _known(right)] for named, (left, right) in quartiles.items()},
        "n": len(intervals),
    }


def _known(time: float) -> float | None:
    """JSON has no infinity."""
    return None if time == inf else time
