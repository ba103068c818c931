"""Who is in an acceptable state at each year, as a part of the series page."""

from collections.abc import Iterator
from functools import partial

from scoring.library import load_library
from server.outcomes.figures.acceptable_drawing import draw_acceptable
from server.outcomes.figures.fade import SHOWN_FROM
from server.outcomes.series.acceptable import STATES, AcceptableSeries, Standings, acceptable_of
from server.outcomes.series.acceptable_levels import Levels
from server.staff.page import words
from server.staff.series.acceptable_words import (
    DrawnLevel,
    acceptable_figure,
    care,
    counted,
    failed_sums,
    lead,
    question,
    says,
    sources,
)
from server.staff.series.asked import Asked
from server.staff.series.part import Cell, Part, Table
from server.staff.series.share_words import with_limits, years_of

ERA_YEARS = (1, 2, 5, 10, 15, 20)  # that the table of eras shows
COLUMNS = (
    "row_kind", "operated_from", "operated_to", "year", *STATES, "revised_not_known_alive", "come",
    "implant_known_unrevised", "implant_known_revised",
    "share", "lower", "upper", "own_yes", "own_answered", "own_share", "own_lower", "own_upper",
    "score", "level", "reached", "scored",
)  # fmt: skip


def acceptable_part(asked: Asked) -> Part:
    """The patient's own answer, and beside it, never mixed with it, a published level of the first score that has one."""
    levels = Levels(load_library().definitions)
    series = acceptable_of(asked.followings, asked.strip, levels)
    drawn = _drawn_level(series)
    return Part(
        "acceptable",
        question(),
        lead(drawn),
        partial(draw_acceptable, acceptable_figure(series, drawn, asked.sentence)) if series.years else None,
        len(series.observed_rows),
        series.observed_people,
        Table(COLUMNS, tuple(_rows(series, drawn))),
        failed=failed_sums(series),
        says=tuple(says(series, drawn)),
        care=tuple(care(series, asked.sentence)) if series.years else (),
        counts=counted(drawn),
        template="staff/series/levels_and_eras.html",
        values={"sources": sources(drawn), "eras": _eras(series) if len(series.eras) > 1 else []},
    )


def _drawn_level(series: AcceptableSeries) -> DrawnLevel | None:
    """Of the first score that has a published level and that enough unrevised shoulders have."""
    rows = [stand.row for stand in series.years[0].stands] if series.years else []
    for key in series.levels.keys:
        shares = tuple(at.level(series.levels, key) for at in series.years)
        if any(share.n >= SHOWN_FROM for share in shares):
            return DrawnLevel(key, shares, tuple(series.levels.used(rows, key)))
    return None


def _eras(series: AcceptableSeries) -> list[tuple[str, list[str]]]:
    """Each with what it tells at some years; eras of which nobody was observed at any of these are left out."""
    found = []
    for era in series.eras:
        told = [_era_year(at) for at in era.years if at.at in ERA_YEARS and at.observed]
        if told:
            found.append((years_of(era.first, era.last), told))
    return found


def _era_year(at: Standings) -> str:
    if not at.drawn:
        return words.gettext("year %(year)s: %(count)s, too few") % {"year": at.at, "count": at.basis}
    said = words.gettext("year %(year)s: %(share)s of %(count)s")
    return said % {"year": at.at, "share": with_limits(at.acceptable), "count": at.basis}


def _rows(series: AcceptableSeries, level: DrawnLevel | None) -> Iterator[tuple[Cell, ...]]:
    """All years, those with too few for a figure too; of eras the years that the list below the figure has."""
    for at in series.years:
        yield ("year", None, None, *_counts(at), *_shares(at), None, None, None, None)
    for era in series.eras:
        for at in (each for each in era.years if each.at in ERA_YEARS):
            yield ("era", era.first, era.last, *_counts(at), *_shares(at), None, None, None, None)
    if level is not None:
        value = level.levels[0].threshold.value if len(level.levels) == 1 else None
        empty = (None,) * (len(STATES) + 4)
        for at, share in zip(series.years, level.shares, strict=True):
            reached = share.share if share.n >= SHOWN_FROM else None
            yield ("level", None, None, at.at, *empty, reached, *(None,) * 7, level.key, value, share.k, share.n)


def _counts(at: Standings) -> tuple[Cell, ...]:
    states = (at.counts[state] for state in STATES)
    return (at.at, *states, at.revised_not_known_alive, sum(at.counts.values()), *at.implants)


def _shares(at: Standings) -> tuple[Cell, ...]:
    """No share of fewer than a figure shows."""
    share: tuple[Cell, ...] = (at.acceptable if at.drawn else None) or (None, None, None)
    own: tuple[Cell, ...] = (at.own.limits if at.own.n >= SHOWN_FROM else None) or (None, None, None)
    return *share, at.own.k, at.own.n, *own
