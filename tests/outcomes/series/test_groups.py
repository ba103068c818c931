"""Groups side by side: who is in them, the change in each, the two differences and why there may be none, and what was revised."""

from datetime import date, timedelta
from statistics import mean
from typing import Any

import pytest

from server.outcomes.arithmetic.least_squares import Estimate
from server.outcomes.series.endpoints import Endpoint
from server.outcomes.series.flow import flow_of
from server.outcomes.series.followed import Followed, Followings
from server.outcomes.series.grouping import BY, Grouping, grouping_of
from server.outcomes.series.groups import (
    FEW,
    FEW_EVENTS,
    NO_LIMITS,
    NO_SHARED_DIAGNOSIS,
    ChangeByGroup,
    Difference,
    RevisedByGroup,
    change_by_group,
    revised_by_group,
)
from server.outcomes.series.row import Row
from server.outcomes.series.sentence import Sentence
from server.outcomes.series.strip import strip_of
from tests.outcomes.arithmetic.test_least_squares import PLAIN, chicks
from tests.outcomes.series.followed_case import (
    SURGERY,
    answered,
    before_surgery,
    fact,
    followings,
    later,
    line,
    shoulder,
)

KEY = "sst@1/total"
# w <- subset(read.csv("chickweight.csv"), diet %in% 1:2); m <- lm(I(after-before)~factor(diet)+I(before-mean(before)), w), with limits
# by person as in tests/outcomes/arithmetic/test_least_squares.py, g <- 13, R 4.2
ADJUSTED_OF_TWO = (17.0374561061, -34.7507944226, 68.82570663488)


def of(shoulders: list[Followed], *others: Row, by: str = "implant_type") -> tuple[Followings, Grouping]:
    found = followings(shoulders, *others)
    return found, grouping_of(flow_of(found.record, Sentence()).rows_at("meant"), by)


def change(shoulders: list[Followed], *others: Row, by: str = "implant_type") -> ChangeByGroup:
    found, grouping = of(shoulders, *others, by=by)
    strip = strip_of(found, flow_of(found.record, Sentence()).rows_at("meant"), Sentence())
    by_group = change_by_group(found, strip, grouping, KEY, 2)
    assert by_group.failed_sums() == []
    return by_group


def pair(before: float, after: float, **values: Any) -> Followed:
    return shoulder(before_surgery(sst=before), answered(2, sst=after), **values)


def many(n: int, gain: float, before: float = 3, **values: Any) -> list[Followed]:
    """Changes that differ by one up and down."""
    return [pair(before + place % 2, before + gain + place % 3, **values) for place in range(n)]


def revised(n: int, of_all: int, **values: Any) -> list[Followed]:
    """The first `n` in their first years, each on a day of its own."""
    return [
        shoulder(later=(later(SURGERY + timedelta(days=60 * (place + 1))),) if place < n else (), **values)
        for place in range(of_all)
    ]


def by_year(shoulders: list[Followed], year: int = 5) -> RevisedByGroup:
    return revised_by_group(*of(shoulders), Endpoint(), year)


def test_the_groups_and_the_untold_are_all_that_are_meant() -> None:
    shoulders = [shoulder(implant_type=each) for each in ("reverse", "reverse", "not_recorded", "stemmed_hemi")]
    _found, grouping = of(shoulders, line(implant_type="reverse"))
    assert {code: len(rows) for code, rows in grouping.groups.items()} == {"reverse": 3, "stemmed_hemi": 1}
    assert len(grouping.untold) == 1 and grouping.failed_sums(5) == [] and grouping.failed_sums(6) == [(6, 5)]
    _found, told = of(shoulders, line(), by="diagnosis")
    assert len(told.untold) == 1, "the log tells no diagnosis"


def test_an_era_is_five_years_and_a_surgeon_is_no_group() -> None:
    shoulders = [shoulder(surgery_on=date(year, 5, 1)) for year in (2009, 2010, 2014, 2015)]
    assert list(of(shoulders, by="era")[1].groups) == ["2005", "2010", "2015"]
    assert "surgeon" not in BY and "model" not in BY
    codes = ("reverse", "stemmed_hemi", "anatomic_total", "resurfacing_hemi", "stemless_hemi")
    assert of([shoulder(implant_type=each) for each in codes])[1].too_many


def test_change_and_both_differences_are_those_of_r() -> None:
    """The weights of chicks on four diets as if they were scores: see tests/outcomes/arithmetic/test_least_squares.py."""
    shoulders = [
        pair(before, after, sex=diet, patient_id=1000 + int(person))
        for diet, before, after, person in chicks()
        if diet in "123"
    ]
    found = change(shoulders, by="sex")
    first, second, third = found.groups
    assert (first.n, first.people, second.n) == (16, 8, 10)
    assert first.mean == pytest.approx(136.1875) and first.limits == pytest.approx(
        (136.1875, 112.263214642, 160.111785358)
    )
    assert [(each.code, each.against, each.n) for each in found.differences] == [
        ("2", "1", (10, 16)),
        ("3", "1", (10, 16)),
    ]
    assert found.differences[0].plain is not None
    assert found.differences[0].plain.value == pytest.approx(PLAIN[1][0])
    assert found.differences[0].adjusted == pytest.approx(ADJUSTED_OF_TWO)
    assert third.before == pytest.approx(mean(before for diet, before, _after, _p in chicks() if diet == "3"))


def test_the_two_differences_part_where_groups_began_unlike() -> None:
    """Both groups lie on one line of score before against change, so that adjusted there is nothing left between them."""
    low, high = (
        [pair(before, 8 + before / 2 + noise, implant_type=kind) for before in befores for noise in (-1, 0, 1)]
        for kind, befores in (("reverse", (1, 2, 3, 4)), ("stemmed_hemi", (5, 6, 7, 8)))
    )
    (difference,) = change(low + high).differences
    assert isinstance(difference.plain, Estimate) and isinstance(difference.adjusted, Estimate)
    assert difference.plain.value == pytest.approx(-2) and difference.plain.upper < -1
    assert difference.adjusted.value == pytest.approx(0) and difference.adjusted.lower < -0.5


def test_within_surgeons_is_left_out_where_each_has_one_implant() -> None:
    alone = many(12, 5, implant_type="reverse", surgeon="Dr A") + many(
        12, 4, implant_type="stemmed_hemi", surgeon="Dr B"
    )
    both = many(12, 5, implant_type="reverse") + many(12, 4, implant_type="stemmed_hemi")
    mixed = [
        *both,
        pair(3, 9, implant_type="reverse", surgeon="Dr B"),
        pair(3, 8, implant_type="stemmed_hemi", surgeon="Dr B"),
    ]
    assert [change(each).differences[0].within for each in (alone, both)] == [None, None]
    assert change(mixed).differences[0].within is not None


def test_a_group_of_fewer_than_ten_pairs_is_counted_and_not_shown() -> None:
    found = change(many(9, 5, implant_type="reverse") + many(30, 4, implant_type="stemmed_hemi"))
    assert [(each.n, each.mean is None) for each in found.groups] == [
        (9, True),
        (30, False),
    ] and found.differences == ()


def test_groups_of_two_and_an_empty_one_are_told_by_their_counts() -> None:
    nobody = [shoulder(answered(2, sst=9), implant_type="anatomic_total")]
    found = change(many(2, 5, implant_type="reverse") + nobody)
    assert [(each.code, each.n, each.mean, each.limits) for each in found.groups] == [
        ("anatomic_total", 0, None, None),
        ("reverse", 2, None, None),
    ]
    assert found.unpaired == 1 and found.answered == 3
    assert change([]).groups == ()


def test_none_is_compared_who_shares_no_diagnosis() -> None:
    unlike = many(20, 5, implant_type="reverse", diagnosis="cuff_tear_arthropathy") + many(
        20, 4, implant_type="stemmed_hemi"
    )
    assert change(unlike).differences[0].why == NO_SHARED_DIAGNOSIS
    few = unlike + many(9, 5, implant_type="reverse")
    assert change(few).differences[0].why == NO_SHARED_DIAGNOSIS
    enough = change(few + many(1, 5, implant_type="reverse")).differences[0]
    assert enough.why == "" and enough.n == (20, 10), "of those alone who share it"
    assert {each.why for each in change(unlike, by="diagnosis").differences} == {NO_SHARED_DIAGNOSIS}


def test_an_acute_fracture_has_no_before_and_is_counted() -> None:
    found = change(many(12, 5, implant_type="reverse") + many(3, 7, implant_type="reverse", diagnosis="acute_fracture"))
    assert (found.groups[0].n, found.fractures, found.unpaired) == (12, 3, 0)


def test_where_all_changed_alike_no_limits_claim_certainty() -> None:
    alike = [pair(3, 8, implant_type=kind) for kind in ("reverse", "stemmed_hemi") for _ in range(12)]
    found = change(alike)
    assert [(each.mean, each.limits) for each in found.groups] == [(5, None), (5, None)]
    assert found.differences[0].plain is None and found.differences[0].why == NO_LIMITS


def test_another_version_of_the_instrument_is_no_pair() -> None:
    second: dict[str, Any] = {"sst@2/total": 3}
    other = [shoulder(before_surgery(**second), answered(2, sst=9), implant_type="reverse") for _ in range(11)]
    assert change(other).unpaired == 11


def test_revised_are_compared_from_ten_events_in_each_group() -> None:
    enough = by_year(revised(12, 60, implant_type="reverse") + revised(10, 60, implant_type="stemmed_hemi"))
    assert [(each.watched, each.events, each.at_risk) for each in enough.groups] == [(60, 12, 48), (60, 10, 50)]
    assert [each.share for each in enough.groups] == pytest.approx([0.2, 1 / 6])
    (difference,) = enough.differences
    assert (difference.n, difference.people) == ((60, 60), 120) and difference.plain is not None
    # without anybody censored it is the difference of two shares: 10/60 - 12/60, se by sqrt(p q / n)
    se = (0.2 * 0.8 / 60 + 1 / 6 * 5 / 6 / 60) ** 0.5
    assert tuple(difference.plain) == pytest.approx(
        (-1 / 30, -1 / 30 - 1.959964 * se, -1 / 30 + 1.959964 * se), rel=1e-5
    )
    few = by_year(revised(12, 60, implant_type="reverse") + revised(9, 60, implant_type="stemmed_hemi"))
    assert few.differences == (Difference("stemmed_hemi", "reverse", why=FEW_EVENTS),)


def test_what_was_revised_is_compared_among_shared_diagnoses_alone() -> None:
    unlike = revised(20, 60, diagnosis="acute_fracture") + revised(11, 60, diagnosis="osteoarthritis")
    by_diagnosis = revised_by_group(*of(unlike, by="diagnosis"), Endpoint(), 5)
    assert {each.why for each in by_diagnosis.differences} == {NO_SHARED_DIAGNOSIS}
    # The fractures of one group alone move its share and not the difference.
    both = revised(12, 60, implant_type="reverse") + revised(10, 60, implant_type="stemmed_hemi")
    fractures = revised(30, 40, implant_type="reverse", diagnosis="acute_fracture")
    found, without = by_year(both + fractures), by_year(both)
    assert found.groups[0].share == pytest.approx(0.42)
    assert (found.differences[0].n, found.differences[0].plain) == ((60, 60), without.differences[0].plain)
    shared = revised(9, 40, implant_type="reverse") + revised(10, 60, implant_type="stemmed_hemi") + fractures
    assert by_year(shared).differences[0].why == FEW_EVENTS, "of the shared diagnosis nine were revised"
    gone = [*revised(10, 15, implant_type="reverse"), *revised(10, 60, implant_type="stemmed_hemi"), *fractures]
    assert by_year(gone).differences[0].why == FEW


def test_a_share_stands_only_while_ten_are_watched() -> None:
    found = by_year(revised(2, 9, implant_type="reverse") + revised(2, 30, implant_type="stemmed_hemi"))
    assert [each.share is None for each in found.groups] == [True, False] and found.differences == ()


@pytest.mark.parametrize("gone", ["dead", "censored"])
def test_where_everybody_is_dead_or_gone_there_is_no_share(gone: str) -> None:
    on = SURGERY + timedelta(days=400)
    values: dict[str, Any] = {"died": on} if gone == "dead" else {"implant_on": on, "alive_on": on}
    found = by_year([shoulder(**values) for _ in range(30)])
    assert [(each.share, each.events, each.at_risk) for each in found.groups] == [(None, 0, 0)]


def test_a_curve_that_begins_late_says_so() -> None:
    late = SURGERY + timedelta(days=365)
    groups = [shoulder(watched_from=late, implant_type="reverse") for _ in range(15)]
    (group,) = by_year(groups).groups
    assert group.since == pytest.approx(1, abs=0.01) and group.share == 0
    assert fact(late).on == late
