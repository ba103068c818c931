"""What the silent could change, as a part of the series page: a year, three estimates, who is silent, and the draws of the quarter."""

from collections.abc import Iterator
from dataclasses import dataclass
from functools import partial
from typing import Any

from flask import url_for

from scoring.library import load_library
from server.clinic.silence_draw import draws_made, people_without_lot
from server.outcomes.arithmetic.weighted import Weighted
from server.outcomes.figures.silence_drawing import draw_silence
from server.outcomes.series.acceptable_levels import Levels
from server.outcomes.series.silence import Silence, silence_of, usual_year, years_to_tell
from server.outcomes.series.silence_sampled import lots_with_open_windows
from server.outcomes.series.strip import PLACES, Strip
from server.staff.page import words
from server.staff.page.request_context import request_context, signed_in
from server.staff.page.route import KEEPING
from server.staff.page.staff_names import staff_names
from server.staff.series import silence_words
from server.staff.series.asked import Asked
from server.staff.series.part import Cell, Part, Table
from server.staff.series.strip_words import failed_strip_sums, nobody_meant, strip_figure

COLUMNS = ("year", "row_kind", "name", "of", "n", "value", "lower", "upper")


@dataclass(frozen=True)
class Choice:
    text: str
    href: str
    chosen: bool


def silence_part(asked: Asked) -> Part:
    """Of the year of the address, or of the usual one. Whoever answered was not silent, in whatever way and words."""
    read = asked.of_all_answers()
    year, unread = _year(read)
    found = None if year is None else _silence(read, year)
    figure = silence_words.figure_of(found, strip_figure(read.strip, read.sentence))
    failed = [
        words.say(silence_words.SUMS[name]) % {"should": should, "now": now}
        for name, should, now in (found.failed_sums() if found is not None else [])
    ]
    nothing = silence_words.nothing_to_tell(bool(read.strip.years)) if read.strip.meant else nobody_meant()
    return Part(
        "silence",
        silence_words.title(),
        words.gettext("Those who answered beside those who were silent, and three ways to reckon with them."),
        partial(draw_silence, figure) if read.strip.years else None,
        0 if found is None else len(found.rows),
        0 if found is None else found.people,
        Table(COLUMNS, tuple(_rows(read.strip, found))),
        failed=(*failed_strip_sums(read.strip), *failed),
        says=(nothing,) if found is None else tuple(silence_words.says(found)),
        care=() if found is None else tuple(silence_words.care(found)),
        counts=silence_words.answers_counted() if asked.sentence.picks_answers else "",
        asked=read,
        year=year,
        template="staff/series/silence.html",
        values={
            "unread": unread,
            "year": year,
            "years": _years(asked, read.strip, year),
            "compared": [] if found is None else silence_words.compared_rows(found),
            **_draws(asked),
        },
    )


def _silence(asked: Asked, year: int) -> Silence:
    return silence_of(asked.followings, asked.strip, asked.sentence, _questions(), year)


def _questions() -> tuple[str, ...]:
    """The keys of the patient's own yes or no, in all its versions."""
    return Levels(load_library().definitions).questions


def _year(asked: Asked) -> tuple[int | None, str]:
    """And what in the address is no year of which there is something to say."""
    wanted = asked.options.get("silence", "")
    year = next((each for each in years_to_tell(asked.strip) if str(each) == wanted), None)
    if year is not None:
        return year, ""
    return usual_year(asked.followings, asked.strip, asked.sentence, _questions()), wanted


def _years(asked: Asked, strip: Strip, chosen: int | None) -> list[Choice]:
    return [
        Choice(
            str(year), url_for("staff.series", **asked.address(silence=str(year)), _anchor="silence"), year == chosen
        )
        for year in years_to_tell(strip)
    ]


def _draws(asked: Asked) -> dict[str, Any]:
    """Every draw of the quarter, whomever the sentence means, and among how many people the next one would be."""
    names = staff_names(asked.session)
    return {
        "draws": draws_made(asked.session),
        "open_lots": silence_words.lots_still_open(lots_with_open_windows(asked.followings)),
        "waiting": people_without_lot(asked.session, request_context().today),
        "draws_by": lambda draw: names.get(draw.drawn_by_id, words.gettext("the command line")),
        "may_draw": signed_in().role in KEEPING,
    }


def _rows(strip: Strip, found: Silence | None) -> Iterator[tuple[Cell, ...]]:
    """Who stands where in every year; of the year that is shown, estimates, weights, lots, tipping points, and what was known before."""
    for year in strip.years:
        for place in PLACES:
            yield year.year, "place", place, "meant", year.count(place), None, None, None
    if found is None:
        return
    yield from ((found.year, *row) for row in _estimates(found))
    for each in found.compared:
        for of, side in (("answered", each.answered), ("silent", each.silent)):
            yield found.year, "known_before", each.name, of, side.n, _rounded(side.mean), None, None
    for of, tips, silent in (
        ("silent", found.tips, len(found.silent)),
        ("silent_and_never_asked", found.tips_of_due, len(found.silent) + found.never_asked),
    ):
        for name, tip in tips.items():
            yield found.year, "worse_by", name, of, silent, _rounded(None if tip is None else tip.worse_by), None, None


def _estimates(found: Silence) -> Iterator[tuple[Cell, ...]]:
    complete, weighted, sampled = found.complete, found.weighted, found.sampled
    if complete is not None:
        yield "estimate", "complete", "answered", len(found.told), *map(_rounded, complete)
    if isinstance(weighted, Weighted):
        yield "estimate", "weighted", "answered_and_silent", len(found.rows), *map(_rounded, weighted.result)
        for name in ("effective_n", "predictors", "cut", "smallest", "largest"):
            yield "weights", name, "answered", weighted.answered, _rounded(getattr(weighted, name)), None, None
    if sampled is None:
        return
    counts = sampled.found
    if sampled.complete is not None:
        yield "estimate", "complete_since_lots", "answered", len(sampled.told), *map(_rounded, sampled.complete)
    if counts.result is not None:
        of = counts.answered + counts.cast
        yield "estimate", "sampled", "answered_and_lots_cast", of, *map(_rounded, counts.result)
    lots = {"cast": counts.cast, "drawn": counts.drawn, "drawn_answered": counts.drawn_answered}
    for name, count in {**lots, "without_lot": sampled.without_lot}.items():
        yield "lots", name, "silent", count, None, None, None


def _rounded(value: float | None) -> float | None:
    return None if value is None else round(value, 6)
