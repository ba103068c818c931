"""One figure of a benchmark beside its floor and its bound, and how the figures are printed."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

HEAD = ("name", "measured", "floor", "ratio", "wanted", "ok")


@dataclass(frozen=True)
class Row:
    """`measured` and `floor` are in `unit` and were taken in the same run; the floor is what nothing that does the work can beat.

    `at_most` bounds the figure itself; `at_least` bounds figure / floor, for rates, where the floor is the higher one.
    """

    name: str
    measured: float
    floor: float | None
    unit: str
    at_least: float | None = None
    at_most: float | None = None

    @property
    def ratio(self) -> float | None:
        return self.measured / self.floor if self.floor else None

    @property
    def wanted(self) -> str:
        bounds = []
        if self.at_most is not None:
            bounds.append(f"at most {written(self.at_most)} {self.unit}")
        if self.at_least is not None:
            bounds.append(f"ratio at least {written(self.at_least)}")
        return ", ".join(bounds)

    @property
    def ok(self) -> bool | None:
        """None where nothing was asked for."""
        if not self.wanted:
            return None
        small_enough = self.at_most is None or self.measured <= self.at_most
        near_enough = self.at_least is None or (self.ratio is not None and self.ratio >= self.at_least)
        return small_enough and near_enough


def written(value: float) -> str:
    """Three figures at least, no more digits than they need."""
    return f"{value:,.0f}" if abs(value) >= 100 or value == int(value) else f"{value:.2f}".rstrip("0").rstrip(".")


def cells(row: Row) -> tuple[str, ...]:
    return (
        row.name,
        f"{written(row.measured)} {row.unit}",
        "" if row.floor is None else f"{written(row.floor)} {row.unit}",
        "" if row.ratio is None else f"{row.ratio:.2f}",
        row.wanted,
        {None: "", True: "yes", False: "NO"}[row.ok],
    )


def table(rows: Iterable[Row]) -> str:
    """The table as text: names to the left, figures to the right."""
    lines = [HEAD, *map(cells, rows)]
    widths = [max(len(line[at]) for line in lines) for at in range(len(HEAD))]
    return "\n".join(_line(line, widths) for line in lines)


def _line(line: Sequence[str], widths: Sequence[int]) -> str:
    aligned = (
        text.rjust(width) if 1 <= at <= 3 else text.ljust(width)
        for at, (text, width) in enumerate(zip(line, widths, strict=True))
    )
    return "  ".join(aligned).rstrip()
