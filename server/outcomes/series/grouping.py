"""Which shoulders stand beside which: at most four groups, by one word of the sentence. Pure.

A surgeon is a stratum and never a group: with the few that a clinic has, side by side is a ranking.
"""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass

from server.outcomes.series.row import Row
from server.outcomes.series.sentence import NOT_RECORDED

ERA = "era"
BY = ("implant_type", "procedure", "diagnosis", "cuff", "glenoid", "side", "dominant", "sex", ERA)
MOST = 4
ERA_YEARS = 5


@dataclass(frozen=True)
class Grouping:
    """`groups`: by code, sorted. `untold`: of whom the record, or the log, does not tell the word; they are in no group."""

    by: str
    groups: Mapping[str, tuple[Row, ...]]
    untold: tuple[Row, ...]

    @property
    def too_many(self) -> bool:
        return len(self.groups) > MOST

    def failed_sums(self, meant: int) -> list[tuple[int, int]]:
        """Where the groups and the untold are not all that are meant: how many should be, how many there are."""
        rows = [row for rows in (*self.groups.values(), self.untold) for row in rows]
        return [] if len(rows) == len(set(rows)) == meant else [(meant, len(set(rows)))]


def grouping_of(meant: Iterable[Row], by: str) -> Grouping:
    """`by`: one of BY."""
    found: dict[str, list[Row]] = {}
    untold = []
    for row in meant:
        code = group_of(row, by)
        if code is None:
            untold.append(row)
        else:
            found.setdefault(code, []).append(row)
    return Grouping(by, {code: tuple(found[code]) for code in sorted(found)}, tuple(untold))


def group_of(row: Row, by: str) -> str | None:
    """An era is five calendar years by its first, so that the first of all operations does not move it."""
    if by == ERA:
        return str(row.surgery_on.year // ERA_YEARS * ERA_YEARS)
    told = row.told(by)
    return None if not told or told[0] == NOT_RECORDED else told[0]
