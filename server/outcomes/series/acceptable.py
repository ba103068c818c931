"""Who is in an acceptable state at each year after surgery, among those alive at it. Pure counting over the followed shoulders.

A shoulder whose year has come stands in the first of these states that fits:

- `dead`: the person died before and had not answered, or before being asked to take part. The dead are out of the population, not missing.
- `not_known_alive`: when the window opened nobody knew any more whether the person was alive, and no answer came; also of a shoulder that
  had been revised, since the share is one of the living.
- `revised`: it was revised or converted before, as the silence strip has it, so it counts as not acceptable, whatever is answered of it.
- `yes`, `no`: what the patient answered themselves.
- `unanswered`: all others: the silent, whoever was not asked or skipped the question, and whoever else does not take part, of whom
  the log tells no death.

The share is a product: the unrevised among all alive whose implant status is known, times yes among the unrevised who answered. To count
every revised shoulder but only those of the others that answered would lean low. It rests on no more than the smaller of these two
denominators, which says whether it is shown. Where a source says that a shoulder was operated on again and no such operation is recorded,
nobody knows whether it is unrevised: an answer from then on is counted, and is in neither share. Beside it stands the patient's own answer,
whatever was revised. A published level of a score is another question and is never mixed with the answer.
"""

from collections import Counter
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from functools import cached_property
from itertools import chain
from typing import NamedTuple

from server.outcomes.arithmetic.product import product_by_person
from server.outcomes.arithmetic.proportion import Interval, wilson_by_person
from server.outcomes.figures.fade import weight_of
from server.outcomes.series.acceptable_levels import Levels
from server.outcomes.series.followed import Answer, Followed, Followings
from server.outcomes.series.row import Row, people
from server.outcomes.series.strip import PLACES, Placed, Strip
from server.schedule.dates import anniversary

STATES = ("yes", "no", "revised", "unanswered", "not_known_alive", "dead")
OBSERVED = ("yes", "no", "revised")
UNREVISED = ("yes", "no", "unanswered")
ERA_YEARS = 5


class Stand(NamedTuple):
    """One shoulder at one time. `implant_known`: whether it is known to be unrevised, or revised.

    `answer`: what was answered whatever was revised, and `own` whether it says yes; None where the question was not answered.
    `said_operated`: by that answer a source had said that it was operated on again, and no such operation is recorded.
    `revised`: the silence strip has it among the revised.
    """

    row: Row
    state: str
    implant_known: bool = False
    answer: Answer | None = None
    own: bool | None = None
    said_operated: bool = False
    revised: bool = False


class Share(NamedTuple):
    """`k` of `n`, and the share with its limits; None of nobody."""

    k: int
    n: int
    limits: Interval | None


class LevelShare(NamedTuple):
    """`k` of the `n` unrevised with a score reach its level; `share` of all alive as a product."""

    k: int
    n: int
    share: float | None


@dataclass(frozen=True)
class Standings:
    """Every shoulder for which a time after surgery has come, `at` being its year or its code."""

    at: int | str
    stands: tuple[Stand, ...]

    @cached_property
    def by_state(self) -> Mapping[str, Sequence[Stand]]:
        """Each state of STATES."""
        found: dict[str, list[Stand]] = {state: [] for state in STATES}
        for stand in self.stands:
            found[stand.state].append(stand)
        return found

    @property
    def counts(self) -> Mapping[str, int]:
        """By state; together they are those whose time has come."""
        return {state: len(stands) for state, stands in self.by_state.items()}

    @property
    def observed(self) -> int:
        """Who said yes or no, and the revised."""
        return sum(self.counts[state] for state in OBSERVED)

    @property
    def observed_rows(self) -> tuple[Row, ...]:
        return tuple(stand.row for state in OBSERVED for stand in self.by_state[state])

    @property
    def basis(self) -> int:
        """The smaller of the two denominators, of which every figure says whether the share is shown and how thick."""
        return min(sum(self.implants), sum(self.answers))

    @property
    def drawn(self) -> bool:
        """Whether the share rests on enough to be shown."""
        return weight_of(self.basis) is not None

    @cached_property
    def answers(self) -> tuple[int, int]:
        """How many of the unrevised said yes, and how many no."""
        yes, no = self._told
        return len(yes), len(no)

    @property
    def said_operated(self) -> int:
        """How many answers are in neither share, since nobody knows whether the shoulder is unrevised."""
        return sum(stand.said_operated for state in ("yes", "no") for stand in self.by_state[state])

    @cached_property
    def revised_not_known_alive(self) -> int:
        """How many of the revised stand at another state, since nobody knew whether the person was alive."""
        return sum(stand.revised for stand in self.by_state["not_known_alive"])

    @cached_property
    def implants(self) -> tuple[int, int]:
        """How many living shoulders are known to be unrevised, and how many are revised."""
        unrevised, revised = self._known
        return len(unrevised), len(revised)

    @cached_property
    def acceptable(self) -> Interval | None:
        """The share as a product, with limits by patient; None where nobody unrevised answered."""
        return self._product_of(*self._told)

    @cached_property
    def own(self) -> Share:
        """Yes by the patients' own answers whatever was revised."""
        of: dict[int | None, list[int]] = {}
        for stand in self.stands:
            if stand.own is not None and stand.state != "dead":
                sums = of.setdefault(stand.row.patient_id, [0, 0])
                sums[0] += stand.own
                sums[1] += 1
        persons = Counter((yes, told) for yes, told in of.values())
        k, n = (sum(each[place] for each in of.values()) for place in (0, 1))
        return Share(k, n, wilson_by_person(persons) if n else None)

    def level(self, levels: Levels, key: str) -> LevelShare:
        """Of the unrevised with this score how many reach the published level; the share as a product, as for the own answer."""
        reached, missed = map(len, self._reached(levels, key))
        return LevelShare(reached, reached + missed, _product((*self.implants, reached, missed)))

    def level_limits(self, levels: Levels, key: str) -> Interval | None:
        """The same share with limits by patient."""
        return self._product_of(*self._reached(levels, key))

    def _reached(self, levels: Levels, key: str) -> tuple[list[Row], list[Row]]:
        """The unrevised with this score who reach the level, and who do not."""
        reached: list[Row] = []
        missed: list[Row] = []
        for stand in chain.from_iterable(self.by_state[state] for state in UNREVISED):
            if stand.answer is None or stand.said_operated:
                continue
            found = levels.reached(stand.row, stand.answer, key)
            if found is not None:
                (reached if found else missed).append(stand.row)
        return reached, missed

    @cached_property
    def _told(self) -> tuple[list[Row], list[Row]]:
        """The unrevised who said yes, and who said no."""
        yes, no = ([each.row for each in self.by_state[state] if not each.said_operated] for state in ("yes", "no"))
        return yes, no

    @cached_property
    def _known(self) -> tuple[list[Row], list[Row]]:
        """Among the living, those known to be unrevised, and the revised."""
        unrevised = chain.from_iterable(self.by_state[state] for state in UNREVISED)
        both = unrevised, self.by_state["revised"]
        first, second = ([stand.row for stand in stands if stand.implant_known] for stands in both)
        return first, second

    def _product_of(self, yes: Iterable[Row], no: Iterable[Row]) -> Interval | None:
        """`yes`: the unrevised who count as acceptable; `no`: the others who told it."""
        kept, lost, well, ill = (Counter([row.patient_id for row in rows]) for rows in (*self._known, yes, no))
        persons = kept.keys() | lost.keys() | well.keys() | ill.keys()
        kinds = Counter((kept.get(p, 0), lost.get(p, 0), well.get(p, 0), ill.get(p, 0)) for p in persons)
        return product_by_person(dict(sorted(kinds.items())))


@dataclass(frozen=True)
class Era:
    """Operations of some years in a row, from the year of the first of them to that of the last, at each year that has come for any."""

    first: int
    last: int
    years: tuple[Standings, ...]


@dataclass(frozen=True)
class AcceptableSeries:
    """`strip`: who stands where by the silence strip, against which these counts are held."""

    years: tuple[Standings, ...]
    eras: tuple[Era, ...]
    levels: Levels
    strip: Strip

    @property
    def observed_rows(self) -> tuple[Row, ...]:
        """Each shoulder that is in any denominator, once."""
        return tuple(dict.fromkeys(row for year in self.years for row in year.observed_rows))

    @property
    def observed_people(self) -> int:
        return people(self.observed_rows)

    def answers(self) -> Iterator[Answer]:
        """Each that says yes or no and counts."""
        for year in self.years:
            yield from (stand.answer for stand in year.stands if stand.state in ("yes", "no") and stand.answer)

    def versions(self) -> Mapping[str, int]:
        """How many answers came by each version of the question."""
        return Counter(
            key.partition("/")[0] for answer in self.answers() for key in self.levels.questions if key in answer.scores
        )

    def failed_sums(self) -> list[tuple[int, str, int, int]]:
        """Each year of which a sum does not hold: which one, what it should be, what it is."""
        failed = []
        for year, known in zip(self.years, self.strip.years, strict=True):
            counts = year.counts
            sums = (
                ("come", known.come, len({stand.row for stand in year.stands})),
                ("states", known.come, sum(counts.values())),
                ("dead", known.count("dead"), counts["dead"]),
                ("revised", known.count("revised"), counts["revised"] + year.revised_not_known_alive),
            )
            failed += [(known.year, name, should, found) for name, should, found in sums if should != found]
        return failed


def acceptable_of(followings: Followings, strip: Strip, levels: Levels) -> AcceptableSeries:
    """Of the shoulders in the strip, at every year that has come for any."""
    found: dict[int, dict[str, list[Stand]]] = {year.year: {place: [] for place in PLACES[:-1]} for year in strip.years}
    for row, of_years in strip.placed.items():
        shoulder = followings.of.get(row.operation_id or 0) if row.takes_part else None
        for year, of_year in found.items():
            if year > len(of_years):
                break
            placed = of_years[year - 1]
            of_year[placed.place].append(_stand_in(row, shoulder, year, placed, levels.questions))
    years = [Standings(year, tuple(chain.from_iterable(of_year.values()))) for year, of_year in found.items()]
    return AcceptableSeries(tuple(years), tuple(_eras(years)), levels, strip)


def _stand_in(row: Row, shoulder: Followed | None, year: int, placed: Placed, questions: Iterable[str]) -> Stand:
    if shoulder is None:
        return Stand(row, "dead" if placed.place == "dead" else "unanswered")
    since = anniversary(row.surgery_on, year) if placed.point is None else placed.point.opens_on
    return stand_of(shoulder, placed.place, since, placed.answer, questions)


def stand_of(shoulder: Followed, place: str, since: date, answer: Answer | None, questions: Iterable[str]) -> Stand:
    """`place`: where the silence strip has it. `since`: when its window opened. `questions`: the keys of the patient's yes or no."""
    own = None if answer is None else own_state(answer, questions)
    if place == "dead":
        state = "dead"
    elif answer is None and not _alive(shoulder, since):
        state = "not_known_alive"
    elif place == "revised":
        state = "revised"
    elif place == "answered" and own is not None:
        state = "yes" if own else "no"
    else:
        state = "unanswered"
    said_operated = answer is not None and _said_operated(shoulder, answer.on)
    return Stand(shoulder.row, state, _implant_known(shoulder, since), answer, own, said_operated, place == "revised")


def own_state(answer: Answer, questions: Iterable[str]) -> bool | None:
    """What the patient answered to the question itself, in whatever version it was asked."""
    for key in questions:
        value = answer.scores.get(key)
        if value is not None:
            return value == 1
    return None


def _alive(shoulder: Followed, since: date) -> bool:
    """Whoever died later was alive."""
    died = shoulder.died
    return (shoulder.alive_on is not None and shoulder.alive_on >= since) or (died is not None and died.on >= since)


def _implant_known(shoulder: Followed, since: date) -> bool:
    """What is revised later was not revised yet.

    Where a source says that it was operated on again and no record says when or how, it is known up to the last own answer before.
    """
    if shoulder.later and shoulder.revised is not None:
        return True
    if shoulder.operated_unrecorded:
        answers = [point.answer.on for point in shoulder.points.values() if point.answer is not None]
        return any(on >= since and not _said_operated(shoulder, on) for on in answers)
    return shoulder.implant_on is not None and shoulder.implant_on >= since


def _said_operated(shoulder: Followed, on: date) -> bool:
    """Whether by that day a source had said so; where it is not known when it did, it may have been at any time."""
    since = shoulder.operated_said_on
    return shoulder.operated_unrecorded and (since is None or on >= since)


def _product(sums: Sequence[int]) -> float | None:
    """None where nobody unrevised answered, and where of nobody it is known whether they are."""
    unrevised, revised, yes, no = sums
    return unrevised / (unrevised + revised) * yes / (yes + no) if unrevised + revised and yes + no else None


def _eras(years: Iterable[Standings]) -> Iterator[Era]:
    """Blocks of calendar years, in each of which somebody was operated on."""
    found: dict[int, list[Standings]] = {}
    for year in years:
        of: dict[int, list[Stand]] = {}
        for stand in year.stands:
            of.setdefault(stand.row.surgery_on.year // ERA_YEARS * ERA_YEARS, []).append(stand)
        for era, stands in of.items():
            found.setdefault(era, []).append(Standings(year.at, tuple(stands)))
    for era in sorted(found):
        # Whoever has come to a later year had come to the first.
        operated = [stand.row.surgery_on.year for stand in found[era][0].stands]
        yield Era(min(operated), max(operated), tuple(found[era]))
