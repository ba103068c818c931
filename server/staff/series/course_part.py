"""How the shoulders do over the years, as a part of the series page: function, pain and own rating over the silence strip."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from functools import partial

from server.outcomes.figures.course_drawing import draw_course
from server.outcomes.series.course import Change, Observed, said_in
from server.outcomes.series.mixed_course import LEAST_YEARS
from server.staff.page import words
from server.staff.page.request_context import runtime
from server.staff.page.threshold_text import KIND, ShownThreshold, chosen
from server.staff.series.asked import Asked
from server.staff.series.course_figure import course_figure, value_words
from server.staff.series.course_measures import Tracked, tracked
from server.staff.series.course_model import MIXED, YES, model_beside
from server.staff.series.course_words import all_fractures, care, gained, limits_words, says, size_words
from server.staff.series.part import Cell, Part, Table
from server.staff.series.strip_words import failed_strip_sums, nobody_meant

COLUMNS = (
    "score", "time", "observed", "people", "mean", "se", "lower", "upper", "quartile_1", "median", "quartile_3",
    "at_best_score", "unscored", "pairs", "mean_before", "mean_after", "mean_change", "change_lower", "change_upper",
    "effect_size", "effect_size_lower", "effect_size_upper", "srm", "srm_lower", "srm_upper",
)  # fmt: skip


@dataclass(frozen=True)
class ChangeLine:
    """One line of the table of changes, in words."""

    score: str
    year: int
    n: int
    before: str
    after: str
    change: str
    effect_size: str
    srm: str


def course_part(asked: Asked) -> Part:
    """Of those alive, unrevised and answering at each year."""
    question = words.gettext("How do these shoulders do, while alive and not revised?")
    said = said_in(asked.strip)
    panels, choices = tracked(asked, runtime().library, said)
    answered = {row for rows in said.rows.values() for row in rows}
    figure = course_figure(asked, panels, question) if panels else None
    return Part(
        "course",
        question,
        words.gettext(
            "The mean, with limits by person at 95 %, to the last year in which twenty or more were observed; the band "
            "holds the middle half of the answers. The years of a shoulder end with its revision or death."
        ),
        None if figure is None else partial(draw_course, figure),
        len(answered),
        len({row.patient_id for row in answered}),
        _table(panels),
        failed=(*failed_strip_sums(asked.strip), *_failed(asked, panels)),
        says=tuple(says(panels)) if panels else (_nothing(asked),),
        care=tuple(care(asked, panels, said)) if panels else (),
        template="staff/series/course_below.html" if panels else "",
        values={
            "choices": choices,
            "model": model_beside(panels, said) if asked.options.get(MIXED) == YES else None,
            "can_be_modelled": any(len(each.course.shown) >= LEAST_YEARS for each in panels),
            "changes": list(_lines(panels)),
            "gained": list(gained(panels)),
            "thresholds": [] if all_fractures(panels) else list(_thresholds(panels)),
        },
    )


def _nothing(asked: Asked) -> str:
    if not asked.strip.meant:
        return nobody_meant()
    if not asked.strip.years:
        return words.gettext("The first window after surgery has closed for nobody yet, so there is no year to show.")
    return words.gettext(
        "Nobody whom the sentence means has answered a score after surgery while alive and not revised."
    )


def _failed(asked: Asked, panels: Sequence[Tracked]) -> Iterator[str]:
    for each in panels:
        for year, answered, now in each.course.failed_sums(asked.strip):
            yield words.gettext("%(score)s, year %(year)s: %(answered)s answered, and %(now)s were counted.") % {
                "score": each.title, "year": year, "answered": answered, "now": now,
            }  # fmt: skip


def _lines(panels: Sequence[Tracked]) -> Iterator[ChangeLine]:
    for each in panels:
        for year, change in each.course.changes.items():
            paired, limits = change.paired, change.limits
            if not change.is_told:
                few = words.gettext("fewer than ten people: counts only")
                yield ChangeLine(each.title, year, paired.n, "–", "–", few, "–", "–")
                continue
            by = limits_words(each, limits.mean_change_lower, limits.mean_change_upper)
            yield ChangeLine(
                each.title,
                year,
                paired.n,
                value_words(each, paired.mean_before),
                value_words(each, paired.mean_after),
                f"{value_words(each, paired.mean_change)} ({by})",
                size_words(paired.effect_size, limits.effect_size_lower, limits.effect_size_upper),
                size_words(paired.srm, limits.srm_lower, limits.srm_upper),
            )


def _thresholds(panels: Sequence[Tracked]) -> Iterator[tuple[str, ShownThreshold]]:
    """Of each kind the one that may be used for any implant, with whom it was found in and the range of all."""
    for each in panels:
        for kind in KIND:
            found = chosen(each.definition, each.scale.scale, kind)
            if found is not None:
                yield each.title, found


def _table(panels: Sequence[Tracked]) -> Table:
    """A row for each score and time: `baseline`, `recalled`, `year-1` and so on; with the change from before surgery where there is one.

    Of fewer than ten people it holds the counts alone.
    """
    rows: list[tuple[Cell, ...]] = []
    for each in panels:
        course, key = each.course, each.course.measure.key
        for time, observed in (("baseline", course.before), ("recalled", course.recalled)):
            if observed is not None:
                rows.append((key, time, *_observed(observed, None), *_change(None)))
        for year, unscored in course.unscored.items():
            rows.append(
                (key, f"year-{year}", *_observed(course.years.get(year), unscored), *_change(course.changes.get(year)))
            )
    return Table(COLUMNS, tuple(rows))


def _observed(observed: Observed | None, unscored: int | None) -> tuple[Cell, ...]:
    if observed is None:
        return 0, 0, *(None,) * 7, 0, unscored
    n, people, mean, se, lower, upper = observed.limits
    if not observed.is_told:
        return n, people, *(None,) * 8, unscored
    return n, people, mean, se, lower, upper, *observed.quartiles, observed.at_best, unscored


def _change(change: Change | None) -> tuple[Cell, ...]:
    if change is None:
        return (None,) * 12
    paired, limits = change.paired, change.limits
    if not change.is_told:
        return paired.n, *(None,) * 11
    return (
        paired.n, paired.mean_before, paired.mean_after, paired.mean_change, limits.mean_change_lower, limits.mean_change_upper,
        paired.effect_size, limits.effect_size_lower, limits.effect_size_upper, paired.srm, limits.srm_lower, limits.srm_upper,
    )  # fmt: skip
