"""Groups side by side as they are drawn: a panel for each outcome, one short line for each group and each difference."""

from collections.abc import Iterator

from scoring.definition import Scale
from scoring.library import load_library
from server.outcomes.arithmetic.least_squares import Estimate
from server.outcomes.figures.groups import GroupLine, GroupPanel, GroupsFigure, ticks_over
from server.outcomes.series.acceptable import Standings
from server.outcomes.series.groups import ChangeByGroup, Difference, GroupChange, GroupRevised
from server.staff.page import words
from server.staff.series.groups_words import Compared, differences_drawn, measure_words, names, number, with_limits
from server.words.phrase import Phrase, phrase


def figure_of(compared: Compared) -> GroupsFigure:
    """A panel for each measure in which a group has ten pairs, for the acceptable state, and for what was revised."""
    panels = [_change_panel(compared, scale, change) for scale, change in compared.changes if _shown(change)]
    if any(each.drawn for each in compared.acceptable.values()):
        panels.append(_acceptable_panel(compared))
    if any(each.share is not None for each in compared.revised.groups):
        panels.append(_revised_panel(compared))
    return GroupsFigure(words.gettext("Groups side by side"), tuple(panels))


def _shown(change: ChangeByGroup) -> bool:
    return any(group.mean is not None for group in change.groups)


def _panel(title: str, note: str, lines: list[GroupLine]) -> GroupPanel:
    return GroupPanel(
        title, note, ticks_over(tuple(each for line in lines for each in line.numbers), words.number), tuple(lines)
    )


def _change_panel(compared: Compared, scale: Scale, change: ChangeByGroup) -> GroupPanel:
    title = words.gettext("%(measure)s, change to year %(year)s") % {
        "measure": measure_words(change.key),
        "year": change.year,
    }
    low, high = (words.number(end) for end in scale.range)
    better = words.gettext("higher is better") if scale.better == "higher" else words.gettext("lower is better")
    lines = [_change_line(compared, place, group) for place, group in enumerate(change.groups)]
    for difference in change.differences if differences_drawn(compared) else ():
        lines += _difference_lines(compared, difference)
    return _panel(title, f"{_asked_by(change.key)}{low}–{high}, {better}", lines)


def _asked_by(key: str) -> str:
    """The title of what function was asked by. Those of pain and own rating say no more than their headings, as in the course."""
    spec = key.partition("/")[0]
    return f"{load_library().definitions[spec].title}: " if spec.startswith("sst@") else ""


def _change_line(compared: Compared, mark: int, group: GroupChange) -> GroupLine:
    told = {"name": compared.name(group.code), "count": group.n}
    if group.mean is None:
        few = words.ngettext("%(name)s: too few, %(count)s pair", "%(name)s: too few, %(count)s pairs", group.n)
        return GroupLine(few % told, group.n)
    lower, upper = (group.limits.lower, group.limits.upper) if group.limits is not None else (None, None)
    said = words.gettext("%(name)s: %(value)s; %(count)s pairs")
    return GroupLine(
        said % {**told, "value": with_limits(group.mean, lower, upper)}, group.n, mark, group.mean, lower, upper
    )


def _difference_lines(compared: Compared, difference: Difference, scale: float = 1) -> Iterator[GroupLine]:
    """Each of the differences that there are."""
    kinds: tuple[tuple[Estimate | None, Phrase], ...] = (
        (difference.plain, phrase("%(names)s: %(value)s; %(count)s and %(other)s")),
        (difference.adjusted, phrase("adjusted for the score before: %(value)s")),
        (difference.within, phrase("and within diagnosis, surgeon and era: %(value)s")),
    )
    told = {"names": names(compared, difference), "count": difference.n[0], "other": difference.n[1]}
    for found, said in kinds:
        if found is not None:
            value, lower, upper = (each * scale for each in found)
            text = words.gettext(said.text) % {**told, "value": with_limits(value, lower, upper)}
            yield GroupLine(text, min(difference.n), None, value, lower, upper)


def _acceptable_panel(compared: Compared) -> GroupPanel:
    title = words.gettext("Acceptable at year %(year)s, %%") % {"year": compared.year}
    lines = [_acceptable_line(compared, mark, *each) for mark, each in enumerate(compared.acceptable.items())]
    return _panel(title, words.gettext("own answer of those alive; revised is no"), lines)


def _acceptable_line(compared: Compared, mark: int, code: str, stand: Standings) -> GroupLine:
    told: dict[str, object] = {"name": compared.name(code), "count": stand.basis}
    share = stand.acceptable
    if share is None or not stand.drawn:
        return GroupLine(words.gettext("%(name)s: too few, %(count)s") % told, stand.basis)
    value, lower, upper = (100 * each for each in share)
    said = words.gettext("%(name)s: %(value)s; %(events)s of %(count)s")
    told |= {"events": stand.answers[0], "count": sum(stand.answers)}
    text = said % {**told, "value": with_limits(value, lower, upper)}
    return GroupLine(text, stand.basis, mark, value, lower, upper)


def _revised_panel(compared: Compared) -> GroupPanel:
    title = words.gettext("Revised by year %(year)s, %%") % {"year": compared.year}
    lines = [_revised_line(compared, mark, group) for mark, group in enumerate(compared.revised.groups)]
    for difference in compared.revised.differences if differences_drawn(compared) else ():
        lines += _difference_lines(compared, difference, 100)
    return _panel(title, words.gettext("as it was, with deaths"), lines)


def _revised_line(compared: Compared, mark: int, group: GroupRevised) -> GroupLine:
    told: dict[str, object] = {"name": compared.name(group.code), "events": group.events, "count": group.watched}
    if group.share is None:
        said = words.gettext("%(name)s: too few still watched; %(events)s of %(count)s revised")
        return GroupLine(said % told, group.at_risk)
    value = 100 * group.share
    lower, upper = (None if end is None else 100 * end for end in (group.lower, group.upper))
    said = words.gettext("%(name)s: %(value)s; %(events)s of %(count)s")
    if group.since > 0:
        said = words.gettext("%(name)s: %(value)s, if unrevised %(since)s years after surgery; %(events)s of %(count)s")
    told |= {"value": with_limits(value, lower, upper), "since": number(group.since)}
    return GroupLine(said % told, group.at_risk, mark, value, lower, upper)
