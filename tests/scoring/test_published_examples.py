"""Worked examples and tables that were read in a published source, each named after it."""

from fractions import Fraction
from typing import Any

import pytest

from scoring.answers import read_sheet
from scoring.score import ScaleScore, score
from tests.scoring.making import library


def scores(spec: str, *values: int | None, first: int = 1) -> dict[str, ScaleScore]:
    """By scale; the values belong to the items from `first` on."""
    definition = library().instrument(spec)
    sheet = {str(number): value for number, value in enumerate(values, first)}
    return {each.scale: each for each in score(definition, read_sheet(definition, sheet))}


def value(spec: str, scale: str, *values: int | None) -> Any:
    return scores(spec, *values)[scale].value


@pytest.mark.parametrize(
    ("pain", "function", "expected"),
    [
        (0, [3] * 10, 100),
        (10, [0] * 10, 0),
        (5, [0] * 10, 25),
        (10, [3] * 10, 50),
        (3, [2] * 10, Fraction(205, 3)),
        (7, [1, 2, 3, 0, 1, 2, 3, 0, 1, 2], 40),
        (1, [3, 3, 3, 3, 3, 3, 3, 3, 3, 2], Fraction(280, 3)),
    ],
)
def test_ases_formula_of_issh_outcome_measures(pain: int, function: list[int], expected: Fraction | int) -> None:
    """(10 - pain) x 5 + (5/3) x sum of function."""
    assert value("ases", "total", pain, *function) == float(expected)


def test_ases_parts_weigh_the_same_in_richards_1994() -> None:
    parts = library().instrument("ases").by_scale
    assert parts["pain_points"].range == parts["function"].range == (0, 50)


@pytest.mark.parametrize(("code", "expected"), [(1, 0), (2, 25), (3, 50), (4, 75), (5, 100)])
@pytest.mark.parametrize(("spec", "items"), [("dash", 30), ("quickdash", 11)])
def test_dash_formula_of_the_institute_for_work_and_health(spec: str, items: int, code: int, expected: int) -> None:
    """(sum / n - 1) x 25, with n the number of items answered."""
    assert value(spec, "total", *[code] * items) == expected
    assert value(spec, "total", *[code] * (items - 1)) == expected


@pytest.mark.parametrize(("spec", "items", "needed"), [("dash", 30, 27), ("quickdash", 11, 10)])
def test_dash_missing_items_of_the_institute_for_work_and_health(spec: str, items: int, needed: int) -> None:
    enough = scores(spec, *[2] * needed, *[None] * (items - needed))["total"]
    assert (enough.value, enough.status, enough.flags) == (25, "prorated", ())
    too_few = scores(spec, *[2] * (needed - 1), *[None] * (items - needed + 1))["total"]
    assert (too_few.value, too_few.status) == (None, "not_scored")


@pytest.mark.parametrize(("spec", "items"), [("dash", 30), ("quickdash", 11)])
def test_dash_modules_of_the_institute_for_work_and_health_need_all_four(spec: str, items: int) -> None:
    found = scores(spec, 3, 3, 3, 3, 4, 4, 4, None, first=items + 1)
    assert (found["module_1"].value, found["module_2"].value) == (50, None)


def test_dash_formula_is_not_one_of_the_two_wrong_ones_in_circulation() -> None:
    """Without "/ n" the same answers would give 525, and with the brackets misread -22."""
    assert value("quickdash", "total", *[2] * 11) == 25


@pytest.mark.parametrize(
    ("pain", "disability", "total", "pooled"),
    [
        ([5] * 5, [5] * 8, 50, 50),
        ([10] * 5, [0] * 8, 50, Fraction(5000, 130)),
        ([0] * 5, [10] * 8, 50, Fraction(8000, 130)),
        ([8, 6, 7, 5, 4], [4] * 8, 50, Fraction(6200, 130)),
    ],
)
def test_spadi_total_of_breckenridge_and_mcauley_2011(
    pain: list[int], disability: list[int], total: int, pooled: Fraction | int
) -> None:
    """Mean of pain / 50 and disability / 80; the pooled total is another number unless both agree."""
    found = scores("spadi", *pain, *disability)
    assert found["total"].value == total
    assert found["total_pooled"].value == float(pooled)
    assert found["total"].method != found["total_pooled"].method


def test_spadi_form_copy_divides_by_40_70_and_120_when_one_is_missed() -> None:
    pain = scores("spadi", 8, 6, 7, 5, None, *[4] * 8)
    assert pain["pain"].value == 26 / 40 * 100
    assert pain["total_pooled"].value == 58 / 120 * 100
    assert scores("spadi", *[5] * 5, *[7] * 7, None)["disability"].value == 49 / 70 * 100
    assert pain["pain"].flags == ("rule read on a form copy only",)


def test_oxford_new_scale_is_60_minus_the_old_one_by_the_oxford_university_innovation_guide_2018() -> None:
    for answers in ([4] * 12, [0] * 12, [3, 1, 4, 2, 0, 4, 1, 3, 2, 2, 4, 0]):
        old = sum(5 - answer for answer in answers)
        found = scores("oss", *answers)
        assert found["total"].value == 60 - old
        assert found["old"].value == old
    assert [library().instrument("oss").by_scale[each].range for each in ("total", "old")] == [(0, 48), (12, 60)]


def test_woos_worked_example_of_arthritisresearch_us() -> None:
    """A raw sum of 450: (1900 - 450) / 1900, 76.32 percent."""
    found = scores("woos", *[50] * 9, *[0] * 10)
    assert found["raw"].value == 450
    assert found["total"].value == pytest.approx(76.3158, abs=5e-5)


def test_woos_domains_of_the_same_source_have_6_5_5_and_3_lines() -> None:
    scales = library().instrument("woos").by_scale
    assert [len(scales[each].rule.items) for each in ("physical", "sport", "lifestyle", "emotions")] == [6, 5, 5, 3]


def test_worc_percent_of_nice_and_its_variant_are_the_same_number() -> None:
    """(2100 - raw) / 2100 x 100 and (2100 - raw) / 21."""
    raw = 245
    assert value("worc", "total", *[100, 100, 45], *[0] * 18) == pytest.approx((2100 - raw) / 21, rel=1e-15)


PHYSICAL = [16.2, 19.9, 23.5, 26.7, 29.6, 32.4, 34.9, 37.4, 39.8, 42.3, 44.9, 47.7, 50.8, 54.1, 57.7, 61.9, 67.7]
MENTAL_FROM_5 = [25.1, 28.4, 31.3, 33.8, 36.3, 38.8, 41.1, 43.5, 45.8, 48.3, 50.8, 53.3, 56.0, 59.0, 62.5, 67.6]


def spread(raw: int) -> list[int]:
    """Four answers from 1 to 5 with this sum."""
    return [raw // 4 + (place < raw % 4) for place in range(4)]


def global_health(physical: list[int], mental: list[int]) -> dict[str, ScaleScore]:
    definition = library().instrument("promis-global")
    # Pain is left at its two ends: 0 counts 5 and 10 counts 1.
    pain = {5: 0, 1: 10}
    sheet = dict(zip(("3", "6", "8", "7"), [*physical[:3], pain[physical[3]]], strict=True))
    sheet |= dict(zip(("2", "4", "5", "10"), mental, strict=True))
    return {each.scale: each for each in score(definition, read_sheet(definition, sheet))}


@pytest.mark.parametrize(("raw", "expected"), list(enumerate(PHYSICAL, 4)))
def test_promis_physical_t_of_the_working_papers_of_june_2009(raw: int, expected: float) -> None:
    ends = 1 if raw <= 16 else 5
    rest = raw - ends
    answers = [rest // 3 + (place < rest % 3) for place in range(3)]
    found = global_health([*answers, ends], [3] * 4)
    assert (found["physical_raw"].value, found["physical"].value) == (raw, expected)


@pytest.mark.parametrize(("raw", "expected"), list(enumerate(MENTAL_FROM_5, 5)))
def test_promis_mental_t_of_the_working_papers_of_june_2009(raw: int, expected: float) -> None:
    """From 5 on: the T of a raw sum of 4 is not confirmed, and every mental score says so."""
    found = global_health([3, 3, 3, 1], spread(raw))
    assert (found["mental_raw"].value, found["mental"].value) == (raw, expected)
    assert "raw sum 4 is not confirmed" in found["mental"].method


@pytest.mark.parametrize(
    ("scale", "most"),
    [("pain", 15), ("daily_life", 20), ("motion", 40), ("strength", 25), ("patient", 35), ("total", 100)],
)
def test_constant_parts_of_constant_2008(scale: str, most: int) -> None:
    assert library().instrument("constant").by_scale[scale].range == (0, most)


def constant(**changes: int) -> dict[str, ScaleScore]:
    sheet = dict.fromkeys(map(str, range(1, 15)), 0) | {
        key.removeprefix("item_"): each for key, each in changes.items()
    }
    definition = library().instrument("constant")
    return {each.scale: each for each in score(definition, read_sheet(definition, sheet))}


@pytest.mark.parametrize(
    ("centimetres", "points"),
    [(0, 4), (3, 4), (3.1, 3), (6, 3), (6.1, 2), (9, 2), (9.1, 1), (12, 1), (12.1, 0), (15, 0)],
)
def test_constant_lines_of_work_and_recreation_of_ban_2013_form_copy(centimetres: float, points: int) -> None:
    other, line = 150, round(centimetres * 10)
    assert constant(item_3=line, item_4=other)["daily_life"].value == points
    assert constant(item_3=other, item_4=line)["daily_life"].value == points


@pytest.mark.parametrize(("centimetres", "first", "last"), [(1.4, 14, 14), (1.5, 13, 14), (2.5, 12, 13), (14.5, 0, 1)])
def test_constant_pain_line_of_the_form_copy_is_rounded_first_and_half_up(
    centimetres: float, first: int, last: int
) -> None:
    """1.4 cm counts 1 and 1.5 cm counts 2; the other reading is a scale of its own."""
    found = constant(item_1=round(centimetres * 10))
    assert (found["pain"].value, found["pain_last"].value) == (first, last)


def test_constant_strength_has_full_marks_at_11_34_kg_or_at_12_5_kg() -> None:
    """1 point a pound, or 1 point per 0.5 kg: form copies."""
    assert constant(item_14=11340)["strength"].value == 25
    assert constant(item_14=11339)["strength"].value == pytest.approx(24.998, abs=1e-3)
    assert constant(item_14=12500)["strength_half_kilo"].value == 25
    assert constant(item_14=5000)["strength_half_kilo"].value == 10


def test_ucla_of_the_form_copy_reaches_35_never_0_and_30_before_surgery() -> None:
    scales = library().instrument("ucla").by_scale
    assert (scales["total"].range, scales["before_surgery"].range) == ((2, 35), (2, 30))


@pytest.mark.parametrize(
    ("degrees", "points"), [(29, 0), (30, 1), (45, 2), (89, 2), (90, 3), (120, 4), (149, 4), (150, 5)]
)
def test_ucla_bands_of_the_form_copy_take_their_lower_edge(degrees: int, points: int) -> None:
    assert value("ucla", "before_surgery", 1, 1, degrees, 0) == 2 + points


def test_penn_parts_of_leggin_2006() -> None:
    scales = library().instrument("penn").by_scale
    found = [scales[each].range for each in ("pain", "satisfaction", "function", "total")]
    assert found == [(0, 30), (0, 10), (0, 60), (0, 100)]
