"""How a timepoint is called, from its code."""

from collections.abc import Iterable

from server.schedule.timepoint_code import TimepointCode, Unit


def timepoint_words(code: str) -> str:
    """ "before surgery", "6 weeks", "3 months", "year 7": never anything else, wherever staff read it."""
    parsed = TimepointCode.parse(code)
    if parsed.is_before_surgery:
        return "before surgery"
    if parsed.unit == Unit.YEAR:
        return f"year {parsed.number}"
    return f"{parsed.number} {parsed.unit}{'' if parsed.number == 1 else 's'}"


def year_runs(years: Iterable[int]) -> list[tuple[int, int]]:
    """Years in order, those that follow each other as one run: first and last of each."""
    runs: list[tuple[int, int]] = []
    for year in years:
        if runs and runs[-1][1] == year - 1:
            runs[-1] = runs[-1][0], year
        else:
            runs.append((year, year))
    return runs
