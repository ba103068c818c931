"""Groups side by side as the page says them: the lines of the figure, what it says, and what to read with care."""

from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass

from scoring.definition import Scale
from server.outcomes.arithmetic.least_squares import Estimate
from server.outcomes.figures.fade import SHOWN_FROM
from server.outcomes.figures.groups import GroupLine, GroupPanel, GroupsFigure, ticks_over
from server.outcomes.series.acceptable import Standings
from server.outcomes.series.endpoints import Endpoint
from server.outcomes.series.grouping import ERA, ERA_YEARS, Grouping
from server.outcomes.series.groups import (
    FEW_EVENTS,
    NO_LIMITS,
    NO_SHARED_DIAGNOSIS,
    ChangeByGroup,
    Difference,
    GroupChange,
    GroupRevised,
    RevisedByGroup,
)
from server.staff.page import words
from server.staff.series.part import people_words
from server.staff.series.sentence_words import WORDS as SAID
from server.staff.series.sentence_words import code_words
from server.words.phrase import Phrase, phrase

# Instrument and scale, in the order in which they stand.
MEASURES: Mapping[tuple[str, str], Phrase] = {
    ("pain", "pain"): phrase("Pain"),
    ("sst", "total"): phrase("Function"),
    ("sane", "sane"): phrase("Own rating"),
}
_ERA = phrase("Five years of operation")
_WHY: Mapping[str, Phrase] = {
    NO_SHARED_DIAGNOSIS: phrase("not compared: no diagnosis is that of ten or more in both"),
    FEW_EVENTS: phrase("not compared: fewer than ten revised in one of them"),
    NO_LIMITS: phrase("not compared: nothing differs within the groups, so that no limits can be formed"),
}


@dataclass(frozen=True)
class Compared:
    """Of each measure its scale and the change by group; who is in an acceptable state; what was revised."""

    grouping: Grouping
    year: int
    changes: tuple[tuple[Scale, ChangeByGroup], ...]
    acceptable: Mapping[str, Standings]
    revised: RevisedByGroup
    endpoint: Endpoint

    def name(self, code: str) -> str:
        return group_words(self.grouping.by, code)


def by_words(by: str) -> str:
    title = words.say(_ERA if by == ERA else SAID[by].title)
    return title[:1].lower() + title[1:]


def group_words(by: str, code: str) -> str:
    return f"{code}–{int(code) + ERA_YEARS - 1}" if by == ERA else code_words(by, code)


def number(value: float) -> str:
    """To one decimal, a minus as print has it."""
    return words.number(round(value, 1) + 0.0).replace("-", "−")


def with_limits(value: float, lower: float | None, upper: float | None) -> str:
    if lower is None or upper is None:
        return words.gettext("%(value)s (no limits)") % {"value": number(value)}
    return words.gettext("%(value)s (%(lower)s to %(upper)s)") % {
        "value": number(value),
        "lower": number(lower),
        "upper": number(upper),
    }


def too_many(grouping: Grouping) -> str:
    if not grouping.groups:
        return words.gettext("Of nobody whom the sentence means this is recorded, so there are no groups.")
    return words.gettext(
        "There are %(count)s groups, and more than four side by side are a ranking. Choose at most four in the sentence."
    ) % {"count": len(grouping.groups)}


def figure_of(compared: Compared) -> GroupsFigure:
    """A panel for each measure in which a group has ten pairs, for the acceptable state, and for what was revised."""
    panels = [_change_panel(compared, scale, change) for scale, change in compared.changes if _shown(change)]
    if any(each.observed >= SHOWN_FROM for each in compared.acceptable.values()):
        panels.append(_acceptable_panel(compared))
    if any(each.share is not None for each in compared.revised.groups):
        panels.append(_revised_panel(compared))
    return GroupsFigure(words.gettext("Groups side by side"), tuple(panels))


def _shown(change: ChangeByGroup) -> bool:
    return any(group.mean is not None for group in change.groups)


def measure_words(key: str) -> str:
    instrument, scale = key.partition("@")[0], key.partition("/")[2]
    return words.say(MEASURES[(instrument, scale)])


def _panel(title: str, note: str, lines: list[GroupLine]) -> GroupPanel:
    return GroupPanel(title, note, ticks_over(tuple(each for line in lines for each in line.numbers)), tuple(lines))


def _change_panel(compared: Compared, scale: Scale, change: ChangeByGroup) -> GroupPanel:
    title = words.gettext("%(measure)s: change from before surgery to year %(year)s") % {
        "measure": measure_words(change.key),
        "year": change.year,
    }
    low, high = (words.number(end) for end in scale.range)
    better = words.gettext("higher is better") if scale.better == "higher" else words.gettext("lower is better")
    lines = [_change_line(compared, place, group) for place, group in enumerate(change.groups)]
    for difference in change.differences:
        lines += _difference_lines(compared, difference)
    return _panel(title, f"{low}–{high}, {better}; {change.key}", lines)


def _change_line(compared: Compared, mark: int, group: GroupChange) -> GroupLine:
    counts = {"name": compared.name(group.code), "n": group.n, "people": people_words(group.people)}
    if group.mean is None or group.before is None:
        return GroupLine(words.gettext("%(name)s: n = %(n)s, fewer than ten pairs") % counts, group.n)
    lower, upper = (group.limits.lower, group.limits.upper) if group.limits is not None else (None, None)
    said = words.gettext("%(name)s: %(change)s, before %(before)s; n = %(n)s, %(people)s")
    told = said % {**counts, "change": with_limits(group.mean, lower, upper), "before": number(group.before)}
    return GroupLine(told, group.n, mark, group.mean, lower, upper)


def _difference_lines(compared: Compared, difference: Difference, scale: float = 1) -> Iterator[GroupLine]:
    """Each of the differences that there are, or why there is none."""
    n, names = min(difference.n), _names(compared, difference)
    if difference.why:
        yield GroupLine(f"{names}: {words.say(_WHY[difference.why])}", n)
        return
    head = f"{names}, n = {difference.n[0]}, {difference.n[1]}"
    kinds: tuple[tuple[Estimate | None, Phrase], ...] = (
        (difference.plain, phrase("%(head)s: difference %(value)s")),
        (difference.adjusted, phrase("adjusted for the score before: %(value)s")),
        (difference.within, phrase("and within diagnosis, surgeon and era: %(value)s")),
    )
    for found, said in kinds:
        if found is not None:
            value, lower, upper = (each * scale for each in found)
            text = words.gettext(said.text) % {"head": head, "value": with_limits(value, lower, upper)}
            yield GroupLine(text, n, None, value, lower, upper)


def _names(compared: Compared, difference: Difference) -> str:
    return words.gettext("%(group)s less %(other)s") % {
        "group": compared.name(difference.code),
        "other": compared.name(difference.against),
    }


def _acceptable_panel(compared: Compared) -> GroupPanel:
    title = words.gettext("Acceptable to the patients themselves at year %(year)s, percent of those alive")
    lines = []
    for mark, (code, stand) in enumerate(compared.acceptable.items()):
        share, counts = stand.acceptable, {"name": compared.name(code), "n": stand.observed}
        if share is None or stand.observed < SHOWN_FROM:
            lines.append(GroupLine(words.gettext("%(name)s: n = %(n)s, too few to tell") % counts, stand.observed))
            continue
        value, lower, upper = (100 * each for each in share)
        said = words.gettext("%(name)s: %(share)s; %(yes)s yes, %(no)s no, %(revised)s revised")
        told = {**counts, **{state: stand.counts[state] for state in ("yes", "no", "revised")}}
        text = said % {**told, "share": with_limits(value, lower, upper)}
        lines.append(GroupLine(text, stand.observed, mark, value, lower, upper))
    return _panel(title % {"year": compared.year}, "", lines)


def _revised_panel(compared: Compared) -> GroupPanel:
    title = words.gettext("Revised by year %(year)s, percent, with deaths competing") % {"year": compared.year}
    lines = [_revised_line(compared, mark, group) for mark, group in enumerate(compared.revised.groups)]
    for difference in compared.revised.differences:
        lines += _difference_lines(compared, difference, 100)
    return _panel(title, "", lines)


def _revised_line(compared: Compared, mark: int, group: GroupRevised) -> GroupLine:
    counts = {
        "name": compared.name(group.code),
        "events": group.events,
        "watched": group.watched,
        "left": group.at_risk,
    }
    if group.share is None:
        said = words.gettext(
            "%(name)s: %(events)s of %(watched)s watched, %(left)s of them still at that year: too few"
        )
        return GroupLine(said % counts, group.at_risk)
    scaled: Callable[[float | None], float | None] = lambda value: None if value is None else 100 * value  # noqa: E731
    lower, upper = scaled(group.lower), scaled(group.upper)
    said = words.gettext("%(name)s: %(share)s; %(events)s of %(watched)s watched, %(left)s still at that year")
    told = {**counts, "share": with_limits(100 * group.share, lower, upper)}
    if group.since > 0:
        said = words.gettext(
            "%(name)s: %(share)s of those unrevised %(since)s years after surgery; %(events)s of %(watched)s watched, %(left)s still then"
        )
        told["since"] = number(group.since)
    return GroupLine(said % told, group.at_risk, mark, 100 * group.share, lower, upper)


def says(compared: Compared) -> Iterator[str]:
    """The first difference of each measure in a sentence, with both answers."""
    found = False
    for _scale, change in compared.changes:
        for difference in change.differences:
            if difference.plain is None or difference.adjusted is None:
                continue
            found = True
            yield words.gettext(
                "%(measure)s: %(names)s is %(plain)s points of change to year %(year)s; had both begun alike, %(adjusted)s."
            ) % {
                "measure": measure_words(change.key),
                "names": _names(compared, difference),
                "plain": with_limits(*difference.plain),
                "adjusted": with_limits(*difference.adjusted),
                "year": compared.year,
            } + _chance(difference.adjusted)
    for difference in compared.revised.differences:
        if difference.plain is not None:
            found = True
            value = with_limits(*(100 * each for each in difference.plain))
            yield words.gettext("Revised by year %(year)s: %(names)s is %(value)s percentage points.") % {
                "names": _names(compared, difference), "value": value, "year": compared.year,
            } + _chance(difference.plain)  # fmt: skip
    if not found:
        yield words.gettext("No two groups are compared here; what each has is told by itself, with its counts.")


def _chance(found: Estimate) -> str:
    return " " + words.gettext("That could well be chance.") if found.lower <= 0 <= found.upper else ""


def care(compared: Compared) -> Iterator[str]:
    """What these numbers are not, and who is in none of them."""
    yield words.gettext(
        "Not randomised: people were given what seemed right for them, so groups differ in more than their name. No difference here is an "
        "effect, none is tested, and the order is that of the record and no ranking."
    )
    yield words.gettext(
        "Two differences: in change as it came, and adjusted for the score before (analysis of covariance). They part where groups began "
        "unlike, since who begins low has more to gain and falls back to the middle besides. Compared are those alone whose diagnosis ten "
        "or more in each group share. Limits by patient."
    )
    untold, fractures = len(compared.grouping.untold), max((each.fractures for _s, each in compared.changes), default=0)
    if fractures:
        yield words.ngettext(
            "%(count)s acute fracture has an answer at that year and no change: what was said before surgery measured the broken arm.",
            "%(count)s acute fractures have an answer at that year and no change: what was said before surgery measured the broken arm.",
            fractures,
        ) % {"count": fractures}
    if untold:
        yield words.ngettext(
            "Of %(count)s shoulder this is not recorded or, where its patient does not take part, not told: it is in no group.",
            "Of %(count)s shoulders this is not recorded or, where their patients do not take part, not told: they are in no group.",
            untold,
        ) % {"count": untold}
