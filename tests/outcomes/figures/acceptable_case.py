"""The figure of the acceptable state of a clinic, every number invented; and one by chance, of any shape."""

from dataclasses import replace

from hypothesis import strategies as st

from server.outcomes.figures.acceptable_layout import AcceptableFigure, ShareAt, ShareLine
from server.outcomes.figures.strip_layout import CountRow
from tests.outcomes.figures.strip_case import COUNTS, strip_figure, strips

OWN = (84, 83, 82, 82, 81, 81, 79, 73, 78, 72, 58, 65, 68, 57, 35)
LEVEL = (20, 39, 44, 45, 41, 37, 36, 31, 27, 28, 24, 22, 19, 24, 15)
YES = (194, 189, 184, 162, 153, 130, 104, 91, 72, 45, 42, 37, 24, 21, 9)
NO = (31, 28, 25, 22, 16, 15, 18, 9, 11, 19, 11, 10, 13, 8, 13)


def acceptable_figure() -> AcceptableFigure:
    of = [COUNTS["answered"][year] + COUNTS["revised"][year] for year in range(15)]
    own = tuple(
        ShareAt(year + 1, OWN[year] / 100, of[year], max(0, OWN[year] / 100 - 0.9 / of[year] ** 0.5),
                min(1, OWN[year] / 100 + 0.7 / of[year] ** 0.5))
        for year in range(15)
    )  # fmt: skip
    level = tuple(ShareAt(year + 1, LEVEL[year] / 100, of[year]) for year in range(15))
    rows = [
        CountRow("said yes", {year + 1: str(count) for year, count in enumerate(YES)}),
        CountRow("said no", {year + 1: str(count) for year, count in enumerate(NO)}),
        CountRow("revised, counts as no", {year + 1: str(count) for year, count in enumerate(COUNTS["revised"])}),
        CountRow("dead before", {year + 1: str(count) for year, count in enumerate(COUNTS["dead"])}),
        *strip_figure().rows[-3:-2],
    ]
    return AcceptableFigure(
        "Of those alive at each year, how many call the shoulder acceptable?",
        "Acceptable",
        "share of those alive that year, in percent",
        "Years after surgery",
        (
            ShareLine(own, ("35 %", "own answer")),
            ShareLine(level, ("15 % by a level",), by_level=True),
        ),
        replace(strip_figure(), rows=tuple(rows)),
        "In year 15 it is 35 % by their own answer.",
    )


@st.composite
def acceptable_figures(draw: st.DrawFn) -> AcceptableFigure:
    """Of any years, of which some have too few observed, in a language of short or long words."""
    strip = draw(strips())
    long = draw(st.sampled_from(["", " según su propia respuesta"]))
    lines = []
    for by_level in draw(st.sampled_from([(), (False,), (False, True)])):
        shares = [
            ShareAt(year.year, *draw(_shares), lower=None if by_level else 0.0, upper=None if by_level else 1.0)
            for year in strip.years
        ]
        lines.append(ShareLine(tuple(shares), ("100 %, year 12", f"own answer{long}"), by_level))
    return replace(
        acceptable_figure(), lead=f"share of those alive that year, in percent{long}", lines=tuple(lines), strip=strip
    )


_shares = st.tuples(st.floats(0, 1), st.integers(0, 12) | st.integers(0, 300))
