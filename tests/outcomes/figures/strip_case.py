"""The silence strip of a clinic, every count and name invented; and one by chance, of any size."""

from collections.abc import Mapping

from hypothesis import strategies as st

from server.outcomes.figures.strip_layout import IN_BARS, CountRow, Place, StripFigure, StripYear

MEANT = 358
COUNTS: Mapping[Place, tuple[int, ...]] = {
    "answered": (225, 217, 209, 184, 169, 145, 122, 100, 83, 64, 53, 47, 37, 29, 22),
    "silent": (38, 35, 32, 41, 36, 31, 26, 28, 28, 26, 25, 15, 14, 12, 6),
    "never_asked": (75, 60, 41, 28, 17, 16, 13, 13, 12, 10, 8, 5, 5, 3, 2),
    "revised": (7, 13, 16, 17, 20, 20, 21, 18, 17, 14, 12, 8, 5, 4, 4),
    "dead": (2, 5, 7, 15, 22, 25, 24, 23, 30, 31, 25, 23, 19, 13, 13),
}
LABELS: Mapping[Place, str] = {
    "answered": "answered", "silent": "silent", "never_asked": "never asked or declined", "revised": "revised before",
    "dead": "dead before",
}  # fmt: skip


def strip_figure(counts: Mapping[Place, tuple[int, ...]] = COUNTS, meant: int = MEANT, long: str = "") -> StripFigure:
    """`long`: words that are added to each label."""
    years = range(1, len(counts["answered"]) + 1)
    come = {year: sum(counts[place][year - 1] for place in IN_BARS) for year in years}
    rows = [
        CountRow(LABELS[place] + long, {year: str(counts[place][year - 1]) for year in years}, mark=place)
        for place in IN_BARS
    ]
    rows += [
        CountRow("whose year has come" + long, {year: str(come[year]) for year in years}, strong=True, ruled=True),
        CountRow(f"to come, of {meant}", {year: str(meant - come[year]) for year in years}),
        CountRow("answered of all, %", {year: str(100 * counts["answered"][year - 1] // max(1, come[year])) for year in years}),
    ]  # fmt: skip
    made = [
        StripYear(year, {place: counts[place][year - 1] for place in IN_BARS}, meant - come[year]) for year in years
    ]
    return StripFigure(
        "Silence strip", "all whose year has come, as they stand" + long, meant, tuple(made), tuple(rows)
    )


@st.composite
def strips(draw: st.DrawFn) -> StripFigure:
    """Of one to thirty years, of nobody to thousands, in a language of short or long words."""
    last = draw(st.integers(1, 30))
    number = st.integers(0, 3) | st.integers(0, 2_000)
    counts = {place: tuple(draw(st.lists(number, min_size=last, max_size=last))) for place in IN_BARS}
    meant = max(sum(counts[place][year] for place in IN_BARS) for year in range(last)) + draw(number)
    return strip_figure(counts, meant, long=draw(st.sampled_from(["", " o preguntados tarde"])))
