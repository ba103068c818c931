"""The table behind groups side by side: every count, every value and why there is none, as a file."""

from collections.abc import Iterator

from server.outcomes.arithmetic.least_squares import Estimate
from server.outcomes.series.groups import FEW, Difference
from server.staff.series.groups_words import Compared
from server.staff.series.part import Cell, Table

COLUMNS = (
    "row_kind", "outcome", "year", "grouped_by", "group", "against", "n", "n_against", "people", "events", "at_risk", "mean_before",
    "estimate", "lower", "upper", "reason",
)  # fmt: skip
NONE = (None, None, None)


def table_of(compared: Compared | None) -> Table:
    """Shares as fractions; differences of `group` less `against`."""
    rows = tuple(_rows(compared)) if compared is not None else ()
    head = (compared.year, compared.grouping.by) if compared is not None else ()
    return Table(COLUMNS, tuple((*row[:2], *head, *row[2:]) for row in rows))


def _rows(compared: Compared) -> Iterator[tuple[Cell, ...]]:
    for _scale, change in compared.changes:
        for each in change.groups:
            ends = each.limits[1:] if each.limits is not None else (None, None)
            of_group = (each.n, None, each.people, None, None, each.before, each.mean, *ends)
            yield ("group", change.key, each.code, None, *of_group, "" if each.mean is not None else FEW)
        for difference in change.differences:
            yield from _differences(change.key, difference)
    for code, stand in compared.acceptable.items():
        share = (stand.acceptable or NONE) if stand.drawn else NONE
        told = (stand.observed, None, None, stand.counts["yes"], None, None)
        yield ("group", "acceptable", code, None, *told, *share, "")
    for group in compared.revised.groups:
        watched = (group.watched, None, group.people, group.events, group.at_risk, None)
        curve = (group.share, group.lower, group.upper)
        yield ("group", "revised", group.code, None, *watched, *curve, "" if group.share is not None else FEW)
    for difference in compared.revised.differences:
        yield from _differences("revised", difference)


def _differences(outcome: str, found: Difference) -> Iterator[tuple[Cell, ...]]:
    kinds: tuple[tuple[str, Estimate | None], ...] = (
        ("difference", found.plain), ("adjusted_difference", found.adjusted), ("difference_within_strata", found.within),
    )  # fmt: skip
    for kind, estimate in kinds:
        if estimate is not None or (kind == "difference" and found.why):
            counts = (*found.n, found.people or None, None, None, None)
            yield (kind, outcome, found.code, found.against, *counts, *(estimate or NONE), found.why)
