"""Groups of the sentence side by side, as a part of the series page."""

from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from functools import partial

from flask import url_for

from scoring.definition import Scale
from scoring.library import load_library
from server.outcomes.figures.groups_drawing import draw_groups
from server.outcomes.series.acceptable import Standings, acceptable_of
from server.outcomes.series.acceptable_levels import Levels
from server.outcomes.series.endpoints import endpoint_in
from server.outcomes.series.grouping import BY, ERA, Grouping, group_of, grouping_of
from server.outcomes.series.groups import ChangeByGroup, change_by_group, revised_by_group
from server.outcomes.series.row import Row, people
from server.staff.page import words
from server.staff.series.asked import Asked
from server.staff.series.groups_figure import figure_of
from server.staff.series.groups_table import table_of
from server.staff.series.groups_words import MEASURES, Compared, by_words, care, foot, says, too_many
from server.staff.series.part import Part

YEARS = (1, 2, 5, 10, 15)
USUAL_YEAR = 5


@dataclass(frozen=True)
class Choice:
    text: str
    href: str
    chosen: bool


def groups_part(asked: Asked) -> Part:
    """By one word of the sentence and at one year, both chosen in the address; a word that makes no groups is told and left out."""
    by, unread = _by(asked)
    year = next((each for each in YEARS if str(each) == asked.options.get("window")), USUAL_YEAR)
    meant = asked.flow.rows_at("meant")
    grouping = grouping_of(meant, by)
    compared = None if grouping.too_many or not grouping.groups else _compared(asked, grouping, year)
    figure = figure_of(compared) if compared is not None else None
    rows = compared.shown if compared is not None else frozenset()
    return Part(
        "groups",
        words.gettext("Side by side: how do groups differ?"),
        words.gettext(
            "By %(by)s: change from before surgery to year %(year)s, and how they are then. Nobody was randomised to a group."
        )
        % {"by": by_words(by), "year": year},
        partial(draw_groups, figure) if figure is not None and figure.panels else None,
        len(rows),
        people(rows),
        table_of(compared),
        failed=_failed(grouping, len(meant), compared),
        says=tuple(says(compared)) if compared is not None else (too_many(grouping),),
        care=tuple(care(compared)) if compared is not None else (),
        counts=foot(compared) if compared is not None else "",
        template="staff/series/groups.html",
        year=year if compared is not None else None,
        values={"unread": unread, "by": _choices(asked, "by", by), "years": _choices(asked, "window", str(year))},
    )


def groups_shown(asked: Asked) -> tuple[tuple[Row, ...], ...]:
    """Whose figures stand side by side: whoever reads them has looked at each."""
    grouping = grouping_of(asked.flow.rows_at("meant"), _by(asked)[0])
    return () if grouping.too_many else tuple(grouping.groups.values())


def _by(asked: Asked) -> tuple[str, str]:
    """The word that makes the groups, and what in the address is none. Without one: a word with several chosen, else the implant type."""
    wanted = asked.options.get("by", "")
    several = [by for by in BY if by != ERA and len(asked.sentence.chosen(by)) > 1]
    usual = several[0] if several else BY[0]
    return (wanted, "") if wanted in BY else (usual, wanted)


def _compared(asked: Asked, grouping: Grouping, year: int) -> Compared:
    changes = tuple(
        (scale, change_by_group(asked.followings, asked.strip, grouping, key, year))
        for key, scale in _measures(asked, year)
    )
    endpoint, _unread = endpoint_in(asked.options)
    revised = revised_by_group(asked.followings, grouping, endpoint, year)
    return Compared(grouping, year, changes, _acceptable(asked, grouping, year), revised, endpoint)


def _measures(asked: Asked, year: int) -> Iterator[tuple[str, Scale]]:
    """Pain, function and own rating, each in the version that was answered most at that year."""
    counts = Counter(key for answer in asked.strip.answered(year).values() for key in answer.scores)
    definitions = load_library().definitions
    for instrument, scale in MEASURES:
        keys = [key for key in counts if key.startswith(f"{instrument}@") and key.endswith(f"/{scale}")]
        if keys:
            key = max(sorted(keys), key=lambda each: counts[each])
            yield key, definitions[key.partition("/")[0]].by_scale[scale]


def _acceptable(asked: Asked, grouping: Grouping, year: int) -> dict[str, Standings]:
    """Of each group who stands where at that year by the patients' own answers."""
    strip = replace(asked.strip, years=tuple(each for each in asked.strip.years if each.year == year))
    found = acceptable_of(asked.followings, strip, Levels(load_library().definitions))
    stands = [stand for each in found.years for stand in each.stands]
    return {
        code: Standings(
            year,
            tuple(stand for stand in stands if group_of(stand.row, grouping.by) == code),
        )
        for code in grouping.groups
    }


def _choices(asked: Asked, option: str, chosen: str) -> list[Choice]:
    codes = {"by": [(by, by_words(by)) for by in BY], "window": [(str(year), str(year)) for year in YEARS]}[option]
    return [
        Choice(text, url_for("staff.series", **asked.address(**{option: code}), _anchor="groups"), code == chosen)
        for code, text in codes
    ]


def _failed(grouping: Grouping, meant: int, compared: Compared | None) -> tuple[str, ...]:
    said = words.gettext("The groups and those of whom it is not told should be %(should)s shoulders, and are %(now)s.")
    found = [said % {"should": should, "now": now} for should, now in grouping.failed_sums(meant)]
    said = words.gettext("Pairs, fractures and answers without a pair should be %(should)s shoulders, and are %(now)s.")
    changes: Sequence[ChangeByGroup] = [change for _scale, change in compared.changes] if compared else []
    return (*found, *(said % {"should": should, "now": now} for each in changes for should, now in each.failed_sums()))
