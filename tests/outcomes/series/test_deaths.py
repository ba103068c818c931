"""Observed against expected deaths, by person-time and a life table; elective operations and fractures apart."""

from dataclasses import replace
from datetime import date

import pytest

from server.outcomes.arithmetic.life_table import read_life_table
from server.outcomes.series.deaths import ELECTIVE, FRACTURE, Expectation, expectations
from server.outcomes.series.followed import Followed
from tests.outcomes.arithmetic.sets import DATA
from tests.outcomes.series.followed_case import fact, shoulder

US = read_life_table((DATA / "us_life_table.csv").read_text(encoding="utf-8"))
FLAT = read_life_table("sex,age,rate\nfemale,0,0.1\nmale,0,0.2\n")
AS_OF = date(2014, 6, 15)
# born, sex, watched from, dead on: those of the call below
PEOPLE = [
    (1940, "female", date(2005, 3, 1), None),
    (1945, "male", date(2006, 11, 15), None),
    (1943, "female", date(2010, 6, 30), date(2012, 9, 1)),
    (1935, "male", date(2007, 1, 1), date(2010, 4, 10)),
    (1950, "female", date(2012, 2, 29), None),
]


def person(born: int, sex: str, since: date, died: date | None = None, **values: object) -> Followed:
    made = shoulder(surgery_on=since, age=since.year - born, sex=sex, **values)  # type: ignore[arg-type]
    return replace(made, watched_from=since, died=None if died is None else fact(died))


def test_expected_deaths_are_those_of_another_program() -> None:
    """rt <- survexp.us; attr(rt, "type")[3] <- 3 (no interpolation between years); survexp(time ~ 1, people, rmap = list(age = age,
    sex = sex, year = entry), ratetable = rt, method = "individual.h"), born on 1 July. There a year of age has 365.25 days."""
    alone = [expectations([person(*each)], US, AS_OF)[0].expected for each in PEOPLE]
    assert alone == pytest.approx([0.1394111147, 0.1184531166, 0.0278185283, 0.1024847499, 0.0180181835], rel=2e-4)
    (found,) = expectations([person(*each) for each in PEOPLE], US, AS_OF)
    assert found.expected == pytest.approx(0.406185693, rel=1e-4)
    assert (found.people, found.observed, round(found.years, 4)) == (5, 2, 24.6078)


def test_a_flat_rate_expects_rate_times_time() -> None:
    ten = [person(1940, "female", date(2004, 6, 15)) for _ in range(10)]
    (found,) = expectations(ten, FLAT, AS_OF)
    assert found.expected == pytest.approx(0.1 * found.years)
    assert found.years == pytest.approx(10 * 3652 / 365.25)


def test_a_person_with_two_shoulders_counts_once_from_the_first() -> None:
    first = person(1940, "female", date(2004, 6, 15), patient_id=7)
    second = person(1940, "female", date(2010, 6, 15), patient_id=7)
    (found,) = expectations([second, first], FLAT, AS_OF)
    assert found.people == 1
    assert found.years == pytest.approx(3652 / 365.25)


def test_elective_operations_and_fractures_stand_apart() -> None:
    broken = person(1930, "male", date(2010, 1, 1), date(2011, 1, 1), diagnosis="acute_fracture")
    sequelae = person(1930, "male", date(2010, 1, 1), diagnosis="fracture_sequelae")
    found = expectations([sequelae, broken], FLAT, AS_OF)
    assert [(each.group, each.people, each.observed) for each in found] == [(ELECTIVE, 1, 0), (FRACTURE, 1, 1)]


def test_who_was_dead_before_the_watch_began_and_whom_the_table_does_not_tell_of_are_not_expected_to_die() -> None:
    dead = person(1930, "male", date(2010, 1, 1), date(2009, 1, 1))
    unknown = person(1930, "unknown", date(2010, 1, 1))
    ageless = shoulder(surgery_on=date(2010, 1, 1), age=None)
    (found,) = expectations([dead, unknown, ageless, person(1930, "male", date(2010, 1, 1))], FLAT, AS_OF)
    assert (found.people, found.untold, found.observed) == (1, 2, 0)
    assert expectations([person(1960, "male", date(2010, 1, 1))], US, AS_OF)[0].untold == 1
    assert expectations([], FLAT, AS_OF) == ()


def test_from_one_or_two_expected_no_verdict_is_drawn() -> None:
    few = Expectation(ELECTIVE, 50, 400.0, 0, 2.9, 0)
    assert (few.ratio, few.seems_incomplete) == (None, False)


def test_a_ratio_has_exact_limits_and_a_low_one_says_that_deaths_may_be_missing() -> None:
    """poisson.test(5, T=26): .062442 to .448783"""
    low = Expectation(ELECTIVE, 500, 4000.0, 5, 26.0, 0)
    assert low.ratio == pytest.approx((5 / 26, 0.062442, 0.448783), abs=1e-6)
    assert low.seems_incomplete
    assert not replace(low, observed=20).seems_incomplete
