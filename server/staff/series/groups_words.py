"""Groups side by side as the page says them: the lines of the figure, what it says, and what to read with care."""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass

from scoring.definition import Scale
from server.outcomes.arithmetic.least_squares import Estimate
from server.outcomes.series.acceptable import Standings
from server.outcomes.series.endpoints import Endpoint
from server.outcomes.series.grouping import ERA, Grouping
from server.outcomes.series.groups import (
    FEW,
    FEW_EVENTS,
    NO_LIMITS,
    NO_SHARED_DIAGNOSIS,
    ChangeByGroup,
    Difference,
    RevisedByGroup,
)
from server.outcomes.series.row import Row
from server.staff.page import words
from server.staff.series.sentence_words import WORDS as SAID
from server.staff.series.sentence_words import code_words
from server.staff.series.share_words import years_of
from server.words.phrase import Phrase, phrase

# Instrument and scale, in the order in which they stand.
MEASURES: Mapping[tuple[str, str], Phrase] = {
    ("pain", "pain"): phrase("Pain"),
    ("sst", "total"): phrase("Function"),
    ("sane", "sane"): phrase("Own rating"),
}
_ERA = phrase("Five years of operation")
_HIGHER_IS_BETTER = phrase("More is better.")
_LOWER_IS_BETTER = phrase("Less is better.")
_WHY: Mapping[str, Phrase] = {
    NO_SHARED_DIAGNOSIS: phrase("not compared: no diagnosis is that of ten or more in both"),
    FEW: phrase("not compared: fewer than ten of the diagnoses of both are still watched then in one of them"),
    FEW_EVENTS: phrase("not compared: fewer than ten revised in one of them, of the diagnoses of both"),
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

    @property
    def differences(self) -> tuple[Difference, ...]:
        """Of two groups each, also those that there are not."""
        return (*(each for _scale, change in self.changes for each in change.differences), *self.revised.differences)

    @property
    def shown(self) -> frozenset[Row]:
        """All whom a line of the figure counts."""
        found = {row for _scale, change in self.changes for group in change.groups for row in group.rows}
        found |= {row for stand in self.acceptable.values() if stand.drawn for row in stand.observed_rows}
        return frozenset(found | {row for group in self.revised.groups for row in group.rows})

    def name(self, code: str) -> str:
        """An era by the years of the operations in it, since the last one may not be over."""
        if self.grouping.by == ERA:
            operated = [row.surgery_on.year for row in self.grouping.groups[code]]
            return years_of(min(operated), max(operated))
        return code_words(self.grouping.by, code)


def by_words(by: str) -> str:
    title = words.say(_ERA if by == ERA else SAID[by].title)
    return title[:1].lower() + title[1:]


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


def measure_words(key: str) -> str:
    instrument, scale = key.partition("@")[0], key.partition("/")[2]
    return words.say(MEASURES[(instrument, scale)])


def names(compared: Compared, difference: Difference) -> str:
    return words.gettext("%(group)s less %(other)s") % {
        "group": compared.name(difference.code),
        "other": compared.name(difference.against),
    }


def says(compared: Compared) -> Iterator[str]:
    """Each difference in a sentence, with both answers; why there is none; and how the groups began."""
    found = False
    for scale, change in compared.changes:
        for difference in change.differences:
            if difference.plain is None or difference.adjusted is None:
                continue
            found = True
            better = _HIGHER_IS_BETTER if scale.better == "higher" else _LOWER_IS_BETTER
            yield " ".join(
                filter(None, (
                    words.gettext(
                        "%(measure)s: %(names)s is %(plain)s points of change to year %(year)s; had both begun alike, %(adjusted)s."
                    ) % {
                        "measure": measure_words(change.key),
                        "names": names(compared, difference),
                        "plain": with_limits(*difference.plain),
                        "adjusted": with_limits(*difference.adjusted),
                        "year": compared.year,
                    },
                    words.say(better), _of_whom(difference), _chance(difference.plain, difference.adjusted),
                ))
            )  # fmt: skip
    for difference in compared.revised.differences:
        if difference.plain is not None:
            found = True
            value = with_limits(*(100 * each for each in difference.plain))
            yield words.gettext("Revised by year %(year)s: %(names)s is %(value)s percentage points.") % {
                "names": names(compared, difference), "value": value, "year": compared.year,
            } + " " + " ".join(filter(None, (_of_whom(difference), _chance(difference.plain))))  # fmt: skip
    alone = list(compared.grouping.groups)
    if len(alone) == 1:
        yield words.gettext("There is one group, %(group)s, so there is nothing to set side by side.") % {
            "group": compared.name(alone[0])
        }
    elif not found:
        yield words.gettext("No two groups are compared here; what each has is told by itself, with its counts.")
    yield from _not_compared(compared)
    for _scale, change in compared.changes:
        if all(group.mean is None for group in change.groups):
            counts = "; ".join(f"{compared.name(group.code)} {group.n}" for group in change.groups)
            yield words.gettext("%(measure)s is not drawn: fewer than ten pairs in every group (%(counts)s).") % {
                "measure": measure_words(change.key),
                "counts": counts,
            }
    for _scale, change in compared.changes:
        told = [
            f"{compared.name(group.code)} {number(group.before)}" for group in change.groups if group.before is not None
        ]
        if told:
            measure = measure_words(change.key)
            yield words.gettext("Before surgery, %(measure)s: %(means)s.") % {
                "measure": measure.lower(),
                "means": "; ".join(told),
            }


def _not_compared(compared: Compared) -> Iterator[str]:
    """Which two are not compared, in what, and why; the outcomes with one reason together."""
    every = [(measure_words(change.key), each) for _scale, change in compared.changes for each in change.differences]
    every += [(words.gettext("Revised"), each) for each in compared.revised.differences]
    outcomes: dict[str, list[str]] = {}
    for outcome, each in every:
        if each.why:
            outcomes.setdefault(f"{names(compared, each)}: {words.say(_WHY[each.why])}.", []).append(outcome)
    for said, of in outcomes.items():
        yield f"{words.listed(of)}, {said}"


def _of_whom(difference: Difference) -> str:
    """The people compared are not all of the groups, so both counts and their diagnoses are said."""
    return words.gettext("Compared are %(ours)s with %(theirs)s, of these diagnoses: %(diagnoses)s.") % {
        "ours": difference.n[0],
        "theirs": difference.n[1],
        "diagnoses": words.listed([code_words("diagnosis", each) for each in difference.diagnoses]),
    }


def _chance(*found: Estimate) -> str:
    """Of the difference, or of both that are told."""
    chance = [each.lower <= 0 <= each.upper for each in found]
    if all(chance):
        return words.gettext("That could well be chance.")
    return words.gettext("Only one of the two could well be chance.") if any(chance) else ""


def foot(compared: Compared) -> str:
    """What a print else would not say: what makes the groups, and what they are not."""
    told = {"by": by_words(compared.grouping.by), "year": compared.year}
    found = [
        words.gettext("By %(by)s, at year %(year)s; nobody was randomised, and each line has its own count.") % told
    ]
    if all(each.why for each in compared.differences):
        found.append(words.gettext("No two groups are compared."))
    elif any(each.why for each in compared.differences):
        found.append(words.gettext("Where no difference stands, groups are not compared."))
    if not differences_drawn(compared):
        found.append(words.gettext("Differences between more than two groups stand in the table behind this figure."))
    return " ".join(found)


def differences_drawn(compared: Compared) -> bool:
    """Only between two groups: between more they are up to nine lines in each panel, which no journal has room for."""
    return len(compared.grouping.groups) <= 2


def care(compared: Compared) -> Iterator[str]:
    """What these numbers are not, and who is in none of them."""
    yield words.gettext(
        "Not randomised: people were given what seemed right for them, so groups differ in more than their name. No difference here is an "
        "effect, none is tested, and the order is that of the record and no ranking."
    )
    if len(compared.grouping.groups) > 1:
        yield words.gettext(
            "Two differences: in change as it came, and adjusted for the score before (analysis of covariance). They part where groups "
            "began unlike, since who begins low has more to gain and falls back to the middle besides. Compared are those alone whose "
            "diagnosis ten or more in each group share. Limits by patient."
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
