"""How a timepoint is called, from its code."""

from collections.abc import Iterable

from server.schedule.timepoint_code import TimepointCode, Unit
from server.words.phrase import Phrase, counted_phrase, phrase


def timepoint_words(code: str) -> Phrase:
    """ "before surgery", "6 weeks", "3 months", "year 7": never anything else, wherever staff read it."""
    parsed = TimepointCode.parse(code)
    if parsed.is_before_surgery:
        return phrase("before surgery")
    if parsed.unit == Unit.YEAR:
        return phrase("year %(number)s", number=parsed.number)
    if parsed.unit == Unit.MONTH:
        return counted_phrase("%(number)s month", "%(number)s months", parsed.number)
    if parsed.unit == Unit.WEEK:
        return counted_phrase("%(number)s week", "%(number)s weeks", parsed.number)
    return counted_phrase("%(number)s day", "%(number)s days", parsed.number)


def year_runs(years: Iterable[int]) -> list[tuple[int, int]]:
    """Years in order, those that follow each other as one run: first and last of each."""
    runs: list[tuple[int, int]] = []
    for year in years:
        if runs and runs[-1][1] == year - 1:
            runs[-1] = runs[-1][0], year
        else:
            runs.append((year, year))
    return runs
