"""Groups of a series side by side: the change in each, the difference between two, and what was revised by a stated year.

A change is that of a pair of answers of one shoulder: before surgery, and at the stated year while alive and unrevised (the answered of
the silence strip). An acute fracture has none, since what its patient says before surgery measures the broken arm. A group with fewer
than ten pairs is counted and not shown.

Two differences answer two questions. The difference in change asks how much more one group gained as it came; the one adjusted for the
score before (analysis of covariance) asks how two shoulders would differ that had begun alike. They part where groups began unlike,
since who begins lower has more to gain and falls back to the middle besides. Neither is an effect: nobody was randomised, and the score
before is not held equal. `within` asks it once more within the same diagnosis, surgeon and era, where they do not go with the group.

Compared are those alone whose diagnosis at least ten in each group share, in change and in what was revised; groups by diagnosis are
never compared.
"""

from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from statistics import mean
from typing import NamedTuple

from server.outcomes.arithmetic.incidence_difference import incidence_difference
from server.outcomes.arithmetic.least_squares import Estimate, least_squares
from server.outcomes.arithmetic.spans import EVENT, Span
from server.outcomes.figures.fade import SHOWN_FROM
from server.outcomes.series.endpoints import Endpoint
from server.outcomes.series.followed import Answer, Followed, Followings
from server.outcomes.series.grouping import ERA, Grouping, group_of
from server.outcomes.series.row import Row, people
from server.outcomes.series.strip import Strip
from server.outcomes.series.survival import Survival, survival_of
from server.outcomes.series.watch import Watched
from server.schedule.status import ANSWERED
from server.schedule.timepoint_code import BEFORE_SURGERY

FEWEST_EVENTS = 10  # in each of two groups before they are compared
FEW, NO_SHARED_DIAGNOSIS, FEW_EVENTS, NO_LIMITS = "few", "no_shared_diagnosis", "few_events", "no_limits"
NO_BEFORE = "acute_fracture"
_STRATA = ("diagnosis", "surgeon")


class Pair(NamedTuple):
    row: Row
    before: float
    after: float


@dataclass(frozen=True)
class GroupChange:
    """`before`: the mean of the same shoulders before surgery. `mean` and `before`: None under ten pairs. `limits`: by person; None too
    where all changed by the same, since limits of no width would claim certainty. `rows`: of whom `mean` is."""

    code: str
    n: int
    people: int
    mean: float | None = None
    limits: Estimate | None = None
    before: float | None = None
    rows: tuple[Row, ...] = ()


@dataclass(frozen=True)
class Difference:
    """Of `code` less `against`, of so many of each. `why`: there is none, as one of the words above says; empty where there is one.
    `diagnoses`: the shared ones, of whom alone it is.

    `adjusted`, `within`: None where it cannot be formed, as when every surgeon has one group.
    """

    code: str
    against: str
    n: tuple[int, int] = (0, 0)
    people: int = 0
    plain: Estimate | None = None
    adjusted: Estimate | None = None
    within: Estimate | None = None
    why: str = ""
    diagnoses: tuple[str, ...] = ()


@dataclass(frozen=True)
class ChangeByGroup:
    """By one measure. `fractures`: how many answered shoulders in the groups have no change since they are acute fractures.

    `unpaired`: how many answered without a score before or at the year. With the pairs they are the answered of the groups.
    """

    key: str
    year: int
    groups: tuple[GroupChange, ...]
    differences: tuple[Difference, ...]
    answered: int
    fractures: int
    unpaired: int

    def failed_sums(self) -> list[tuple[int, int]]:
        now = sum(group.n for group in self.groups) + self.fractures + self.unpaired
        return [] if now == self.answered else [(self.answered, now)]


@dataclass(frozen=True)
class GroupRevised:
    """By the year, deaths competing: `events` of `watched`. `share`: None where fewer than ten are still watched then; its limits are
    None where there are too few people for any. `since`: the curve begins there, of those unrevised by then. `rows`: of whom `share` is."""

    code: str
    watched: int
    people: int
    events: int
    at_risk: int
    share: float | None = None
    lower: float | None = None
    upper: float | None = None
    since: float = 0.0
    rows: tuple[Row, ...] = ()


@dataclass(frozen=True)
class RevisedByGroup:
    year: int
    groups: tuple[GroupRevised, ...]
    differences: tuple[Difference, ...]


def change_by_group(followings: Followings, strip: Strip, grouping: Grouping, key: str, year: int) -> ChangeByGroup:
    """Before surgery to the year, by one score such as `sst@1/total`."""
    answers = strip.answered(year)
    in_groups = [row for row in answers if group_of(row, grouping.by) in grouping.groups]
    found = (_pair(followings.of[row.operation_id or 0], answers[row], key) for row in in_groups)
    pairs = [pair for pair in found if pair is not None]
    by_code = {code: [pair for pair in pairs if group_of(pair.row, grouping.by) == code] for code in grouping.groups}
    fractures = sum(row.diagnosis == NO_BEFORE for row in in_groups)
    return ChangeByGroup(
        key,
        year,
        tuple(_change(code, of) for code, of in by_code.items()),
        tuple(_differences(by_code)),
        len(in_groups),
        fractures,
        len(in_groups) - fractures - len(pairs),
    )


def _before(shoulder: Followed, key: str) -> float | None:
    """What was answered before surgery itself; what was recalled later stands apart."""
    point = shoulder.points.get(str(BEFORE_SURGERY))
    if shoulder.row.diagnosis == NO_BEFORE or point is None or point.status not in ANSWERED or point.answer is None:
        return None
    return point.answer.scores.get(key)


def _pair(shoulder: Followed, answer: Answer, key: str) -> Pair | None:
    before, after = _before(shoulder, key), answer.scores.get(key)
    return None if before is None or after is None else Pair(shoulder.row, before, after)


def _change(code: str, pairs: Sequence[Pair]) -> GroupChange:
    counted = GroupChange(code, len(pairs), people(pair.row for pair in pairs))
    if len(pairs) < SHOWN_FROM:
        return counted
    changes = [pair.after - pair.before for pair in pairs]
    fit = least_squares([(1.0,)] * len(pairs), changes, [pair.row.patient_id for pair in pairs])
    limits = None if fit is None else fit.combined([1.0])
    before, rows = mean(pair.before for pair in pairs), tuple(pair.row for pair in pairs)
    return GroupChange(code, counted.n, counted.people, mean(changes), limits, before, rows)


def _differences(by_code: Mapping[str, Sequence[Pair]]) -> Iterable[Difference]:
    """Of each group less the first that has ten pairs."""
    shown = [code for code, pairs in by_code.items() if len(pairs) >= SHOWN_FROM]
    for code in shown[1:]:
        yield _difference(code, shown[0], by_code)


def _difference(code: str, against: str, by_code: Mapping[str, Sequence[Pair]]) -> Difference:
    shared = _shared(*([pair.row.diagnosis for pair in by_code[each]] for each in (code, against)))
    if not shared:
        return Difference(code, against, why=NO_SHARED_DIAGNOSIS)
    ours, theirs = ([pair for pair in by_code[each] if pair.row.diagnosis in shared] for each in (code, against))
    pairs = [*ours, *theirs]
    member = [1.0] * len(ours) + [0.0] * len(theirs)
    middle = mean(pair.before for pair in pairs)
    before = [pair.before - middle for pair in pairs]
    strata = _strata(pairs)
    plain = _fitted(pairs, member)
    return Difference(
        code,
        against,
        (len(ours), len(theirs)),
        people(pair.row for pair in pairs),
        plain,
        _fitted(pairs, member, before),
        _fitted(pairs, member, before, *strata) if strata else None,
        "" if plain is not None else NO_LIMITS,
        tuple(sorted(map(str, shared))),
    )


def _shared(ours: Iterable[str | None], theirs: Iterable[str | None]) -> set[str | None]:
    """The diagnoses that ten or more have on each side."""
    counts = Counter(ours), Counter(theirs)
    return {each for each in counts[0] if min(of[each] for of in counts) >= SHOWN_FROM}


def _fitted(pairs: Sequence[Pair], member: Sequence[float], *others: Sequence[float]) -> Estimate | None:
    """The coefficient of being in the group, beside these columns."""
    columns = ([1.0] * len(pairs), member, *others)
    rows = [[column[place] for column in columns] for place in range(len(pairs))]
    fit = least_squares(rows, [pair.after - pair.before for pair in pairs], [pair.row.patient_id for pair in pairs])
    return None if fit is None else fit.combined([0.0, 1.0, *[0.0] * len(others)])


def _strata(pairs: Sequence[Pair]) -> list[list[float]]:
    """A column for each diagnosis, surgeon and era but the first of each."""
    columns = []
    told = [[str(pair.row.told(word)) for pair in pairs] for word in _STRATA]
    told.append([str(group_of(pair.row, ERA)) for pair in pairs])
    for values in told:
        columns += [[float(value == level) for value in values] for level in sorted(set(values))[1:]]
    return columns


def revised_by_group(followings: Followings, grouping: Grouping, endpoint: Endpoint, year: int) -> RevisedByGroup:
    """By the year, with deaths competing, as the figure of implant survival counts it."""
    found = {
        code: survival_of(
            [followings.of[row.operation_id or 0] for row in rows if row.operation_id in followings.of],
            endpoint,
            followings.record.as_of,
        )
        for code, rows in grouping.groups.items()
    }
    groups = tuple(_revised(code, survival, year) for code, survival in found.items())
    shown = [group for group in groups if group.share is not None]
    differences = [_revised_difference(group, shown[0], found, year) for group in shown[1:]]
    return RevisedByGroup(year, groups, tuple(differences))


def _revised(code: str, survival: Survival, year: int) -> GroupRevised:
    at_risk = sum(each.entry < year <= each.time for each in survival.watched)
    events = sum(each.status == EVENT and each.time <= year for each in survival.watched)
    counts = (len(survival.watched), survival.people, events, at_risk)
    drawn = survival.drawn
    if drawn is None or at_risk < SHOWN_FROM or not drawn.start < year <= drawn.end:
        return GroupRevised(code, *counts)
    point = drawn.as_it_was.at(year)
    rows = tuple(each.followed.row for each in survival.watched)
    return GroupRevised(code, *counts, point.share, point.lower, point.upper, drawn.start, rows)


def _revised_difference(
    group: GroupRevised, against: GroupRevised, found: Mapping[str, Survival], year: int
) -> Difference:
    """Of those of a shared diagnosis; None under ten events or ten still watched in each. Where one curve begins later, the other is taken
    from there too."""
    codes = group.code, against.code
    sides = [list(found[code].watched) for code in codes]
    shared = _shared(*([each.followed.row.diagnosis for each in side] for side in sides))
    if not shared:
        return Difference(*codes, why=NO_SHARED_DIAGNOSIS)
    sides = [[each for each in side if each.followed.row.diagnosis in shared] for side in sides]
    if any(sum(each.status == EVENT and each.time <= year for each in side) < FEWEST_EVENTS for side in sides):
        return Difference(*codes, why=FEW_EVENTS)
    if any(sum(each.entry < year <= each.time for each in side) < SHOWN_FROM for side in sides):
        return Difference(*codes, why=FEW)
    since = max(group.since, against.since)
    ours, theirs = (_spans(side, since) for side in sides)
    plain = incidence_difference(theirs, ours, EVENT, year)
    persons = len({span.person for span in (*theirs, *ours)})
    return Difference(
        *codes,
        (len(ours), len(theirs)),
        persons,
        plain,
        why="" if plain is not None else NO_LIMITS,
        diagnoses=tuple(sorted(map(str, shared))),
    )


def _spans(watched: Iterable[Watched], since: float) -> list[Span]:
    """What lies after the later of the two beginnings."""
    spans = [each.span for each in watched if each.time > since]
    return [span._replace(entry=max(span.entry, since)) for span in spans]
