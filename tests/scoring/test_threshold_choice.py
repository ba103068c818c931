"""Which of several published thresholds is used: by one stated rule, the same on every page."""

from dataclasses import replace

import pytest

from scoring.definition import THRESHOLD_IMPLANTS, Definition, Threshold
from scoring.threshold_choice import RULE, choose_threshold, may_be_used, of_kind, threshold_anchor
from tests.scoring.making import library

SST = library().instrument("sst@1")
PAIN = library().instrument("pain@1")
GIVEN = Threshold(
    kind="mcid",
    scale="total",
    value=2,
    plus_minus=None,
    population="people",
    treatment="arthroplasty",
    holds_hemiarthroplasty=None,
    anchor="anchor",
    follow_up="a year",
    follow_up_days=365,
    n=100,
    citation="citation",
    note=None,
)
ERROR = replace(GIVEN, kind="detectable_change")


def with_thresholds(definition: Definition, *thresholds: Threshold) -> Definition:
    return replace(definition, thresholds=thresholds)


def chosen_in_either_order(
    definition: Definition, one: Threshold, other: Threshold, *, implant: str | None = None
) -> list[Threshold | None]:
    """Which is chosen of the two, and which when they stand the other way round."""
    return [
        choose_threshold(with_thresholds(definition, *order), one.scale, one.kind, implant=implant)
        for order in ((one, other), (other, one))
    ]


@pytest.mark.parametrize(
    ("other", "why"),
    [
        (replace(GIVEN, treatment="mixed", follow_up_days=900, n=900), "arthroplasty before a mixed clinic"),
        (replace(GIVEN, treatment="not_stated", follow_up_days=900, n=900), "arthroplasty before people not described"),
        (replace(GIVEN, treatment="other", follow_up_days=900, n=900), "arthroplasty"),
        (replace(GIVEN, range_end=True, n=900), "a single value"),
        (replace(GIVEN, implants=("reverse",), n=900), "not another implant's"),
        (replace(GIVEN, follow_up_days=364, holds_hemiarthroplasty=True, n=900), "a follow-up of at least a year"),
        (replace(GIVEN, follow_up_days=None, n=900), "a follow-up that is stated"),
        (replace(GIVEN, n=40), "more people"),
        (replace(GIVEN, n=None), "a number of people that is stated"),
        (replace(GIVEN, distribution_based=True, follow_up_days=900, n=900), "what people said of their change"),
        (replace(GIVEN, limits=(-1, 5), n=900), "limits without no change at all"),
        (replace(GIVEN, limits=(0, 5), n=900), "limits above no change at all"),
        (replace(GIVEN, value=1.5), "of two alike the one harder to reach"),
        (replace(GIVEN, kind="scb", n=900), "its own kind"),
        (replace(GIVEN, scale="total_if_blanks_no", n=900), "its own scale"),
    ],
)
def test_the_one_chosen_has(other: Threshold, why: str) -> None:
    assert chosen_in_either_order(SST, GIVEN, other) == [GIVEN, GIVEN], why


def test_people_with_a_hemiarthroplasty_come_before_larger_numbers() -> None:
    holds = replace(GIVEN, holds_hemiarthroplasty=True, n=30)
    none = replace(GIVEN, holds_hemiarthroplasty=False, n=900)
    assert chosen_in_either_order(SST, holds, none) == [holds, holds]


def test_a_level_on_a_scale_where_less_is_better_is_harder_to_reach_when_lower() -> None:
    low, high = replace(GIVEN, kind="pass", scale="pain", value=1), replace(GIVEN, kind="pass", scale="pain", value=3)
    assert chosen_in_either_order(PAIN, low, high) == [low, low]


def test_where_none_was_read_none_is_chosen() -> None:
    assert choose_threshold(replace(library().instrument("sane@1"), thresholds=()), "sane", "mcid") is None


def test_the_shoulder_test_takes_the_values_of_arthroplasty_with_hemiarthroplasty() -> None:
    """J Shoulder Elbow Surg 2022;31(8):1640-1646: 2.3 over all types, n = 887. J Shoulder Elb Arthroplast 2017;1: 8.4."""
    smallest, level = choose_threshold(SST, "total", "mcid"), choose_threshold(SST, "total", "pass")
    assert smallest is not None and (smallest.value, smallest.n) == (2.3, 887)
    assert level is not None and (level.value, level.n) == (8.4, 326)


def test_a_mixed_clinic_comes_before_people_whom_the_source_does_not_describe() -> None:
    mixed, unknown = replace(GIVEN, treatment="mixed", n=10), replace(GIVEN, treatment="not_stated", n=900)
    assert chosen_in_either_order(SST, mixed, unknown) == [mixed, mixed]


def test_arthroplasty_comes_before_a_single_value_and_that_before_a_long_follow_up() -> None:
    end = replace(GIVEN, range_end=True)
    assert choose_threshold(with_thresholds(SST, end, replace(GIVEN, treatment="mixed")), "total", "mcid") is end
    single = replace(GIVEN, follow_up_days=42)
    assert choose_threshold(with_thresholds(SST, end, single), "total", "mcid") is single


@pytest.mark.parametrize("kind", ["mcid", "scb", "pass"])
def test_what_was_found_after_another_operation_or_without_one_is_never_used(kind: str) -> None:
    other = replace(GIVEN, kind=kind, treatment="other")
    definition = with_thresholds(SST, other)
    assert choose_threshold(definition, "total", kind) is None
    assert of_kind(definition, "total", kind) == [other]


def test_the_value_of_one_implant_type_is_for_that_type_and_there_it_comes_first() -> None:
    own = replace(GIVEN, implants=("reverse", "anatomic_total"), n=10, follow_up_days=42, treatment="mixed")
    assert chosen_in_either_order(SST, GIVEN, own, implant="reverse") == [own, own]
    assert chosen_in_either_order(SST, GIVEN, own, implant="stemmed_hemi") == [GIVEN, GIVEN]
    assert chosen_in_either_order(SST, GIVEN, own, implant=None) == [GIVEN, GIVEN]


def test_what_is_stated_however_small_comes_before_what_is_not() -> None:
    one, none = replace(GIVEN, n=1, value=1), replace(GIVEN, n=None)
    assert choose_threshold(with_thresholds(SST, none, one), "total", "mcid") is one
    least, unstated = replace(ERROR, confidence_percent=1, n=1), ERROR
    assert choose_threshold(with_thresholds(SST, unstated, least), "total", "detectable_change") is least


def test_a_shoulder_without_an_implant_is_not_judged_by_arthroplasty() -> None:
    definition = with_thresholds(SST, GIVEN, ERROR)
    assert choose_threshold(definition, "total", "mcid", implant="none") is None
    assert choose_threshold(definition, "total", "detectable_change", implant="none") is ERROR


@pytest.mark.parametrize("limits", [(0.1, 5), None])
def test_limits_that_leave_out_no_change_leave_a_threshold_in_use(limits: tuple[float, float] | None) -> None:
    one = replace(GIVEN, limits=limits)
    assert choose_threshold(with_thresholds(SST, one), "total", "mcid") is one


def test_a_level_may_lie_within_limits_that_hold_0() -> None:
    level = replace(GIVEN, kind="pass", scale="pain", value=1, limits=(0, 2))
    assert choose_threshold(with_thresholds(PAIN, level), "pain", "pass") is level


def test_people_come_before_the_way_a_value_was_found_and_that_before_the_end_of_a_range() -> None:
    spread, end = replace(GIVEN, distribution_based=True), replace(GIVEN, range_end=True)
    for order in ((spread, end), (end, spread)):
        assert choose_threshold(with_thresholds(SST, *order), "total", "mcid") is end
    mixed = replace(GIVEN, treatment="mixed")
    assert choose_threshold(with_thresholds(SST, spread, mixed), "total", "mcid") is spread


def test_measurement_error_comes_from_the_study_of_the_threshold_beside_it() -> None:
    own = replace(ERROR, treatment="other", citation="own", n=10)
    near = replace(ERROR, confidence_percent=95, n=900)
    definition = with_thresholds(SST, own, near)
    beside = replace(GIVEN, citation="own")
    assert choose_threshold(definition, "total", "detectable_change", beside=beside) is own
    assert choose_threshold(definition, "total", "detectable_change", beside=GIVEN) is near
    assert choose_threshold(definition, "total", "detectable_change") is near


def test_the_nearest_people_have_the_measurement_error_whatever_its_confidence() -> None:
    mixed = replace(ERROR, treatment="mixed", n=10)
    unknown = replace(ERROR, treatment="not_stated", confidence_percent=95, n=900)
    for order in ((mixed, unknown), (unknown, mixed)):
        assert choose_threshold(with_thresholds(SST, *order), "total", "detectable_change") is mixed
        assert choose_threshold(with_thresholds(SST, *order, ERROR), "total", "detectable_change") is ERROR
    other = replace(unknown, treatment="other", n=901)
    assert choose_threshold(with_thresholds(SST, unknown, other), "total", "detectable_change") is other
    larger = replace(mixed, value=3)
    for order in ((larger, mixed), (mixed, larger)):
        assert choose_threshold(with_thresholds(SST, *order), "total", "detectable_change") is larger
    one, none = replace(ERROR, n=1, value=1), replace(ERROR, n=None)
    for order in ((one, none), (none, one)):
        assert choose_threshold(with_thresholds(SST, *order), "total", "detectable_change") is one


@pytest.mark.parametrize(
    ("kind", "used"), [("mcid", False), ("scb", False), ("pass", False), ("detectable_change", True)]
)
def test_what_was_found_without_arthroplasty_is_used_as_measurement_error_only(kind: str, used: bool) -> None:
    assert may_be_used(replace(GIVEN, kind=kind, treatment="other")) is used
    assert may_be_used(replace(GIVEN, kind=kind))


def test_measurement_error_is_taken_from_any_people_by_its_confidence() -> None:
    stated = replace(ERROR, treatment="other", implants=("reverse",), confidence_percent=90, n=10)
    higher = replace(stated, confidence_percent=95)
    unstated = replace(ERROR, treatment="other", n=900)
    for order in ((stated, unstated), (unstated, stated)):
        assert choose_threshold(with_thresholds(SST, *order), "total", "detectable_change") is stated
    assert choose_threshold(with_thresholds(SST, stated, higher), "total", "detectable_change") is higher
    many = replace(ERROR, treatment="other", n=901)
    assert choose_threshold(with_thresholds(SST, unstated, many), "total", "detectable_change") is many


# Read from the definitions by hand, by the rule; (kind, scale, value, n), and what an implant type changes.
USED: dict[str, list[tuple[str, str, float, int | None]]] = {
    "sst": [("mcid", "total", 2.3, 887), ("scb", "total", 3.4, 1568),
            ("detectable_change", "total", 2.8, None), ("pass", "total", 8.4, 326)],
    "ases": [("mcid", "total", 13.6, 466), ("scb", "total", 31.5, 1568),
             ("detectable_change", "total", 16, 63), ("pass", "total", 76, 326)],
    "pain": [("mcid", "pain", 1.6, 466), ("scb", "pain", 3.2, 1568), ("pass", "pain", 1.5, 326)],
    "sane": [("mcid", "sane", 14.9, 153), ("pass", "sane", 85.7, 204)],
    "oss": [("mcid", "total", 8.42, 1117), ("detectable_change", "total", 6.0, None)],
    "dash": [("mcid", "total", 7.2, 104), ("detectable_change", "total", 16.3, None)],
    "quickdash": [("mcid", "total", 13.4, 164), ("detectable_change", "total", 17.1, None)],
    "spadi": [("mcid", "total", 13, None), ("detectable_change", "total", 18, None)],
    "constant": [("mcid", "total", 5.7, 466), ("scb", "total", 19.1, 1568)],
    "worc": [("mcid", "raw", 245, None)],
    "wosi": [("mcid", "raw", 126.43, None), ("detectable_change", "total", 23, None)],
    "ucla": [("mcid", "total", 8.7, 466), ("scb", "total", 12.6, 1568)],
    "penn": [("detectable_change", "total", 12.1, 40), ("detectable_change", "function", 8.6, None)],
    "early": [], "global-change": [], "pass": [], "preference": [], "promis-global": [], "return": [],
    "satisfaction": [], "since": [], "woos": [],
}  # fmt: skip
BY_IMPLANT = [
    ("sst", "anatomic_total", 1.6),
    ("sst", "reverse", 3.7),
    ("oss", "reverse", 6.6),
    ("constant", "reverse", 9.3),
    ("ucla", "reverse", 2.9),
]


@pytest.mark.parametrize("definition", [library().instrument(each) for each in USED], ids=USED)
def test_the_thresholds_that_are_used(definition: Definition) -> None:
    found = []
    for kind in ("mcid", "scb", "detectable_change", "pass"):
        for scale in definition.by_scale:
            chosen = choose_threshold(definition, scale, kind)
            found += [(kind, scale, float(chosen.value), chosen.n)] if chosen else []
    assert sorted(found, key=str) == sorted(USED[definition.id], key=str)


@pytest.mark.parametrize(("name", "implant", "value"), BY_IMPLANT)
def test_the_thresholds_that_an_implant_type_changes(name: str, implant: str, value: float) -> None:
    chosen = choose_threshold(library().instrument(name), "total", "mcid", implant=implant)
    assert chosen is not None and float(chosen.value) == value and chosen.implants == (implant,)


def test_no_other_implant_type_changes_a_threshold() -> None:
    changed = []
    for definition in library().definitions.values():
        for implant in THRESHOLD_IMPLANTS:
            for scale, kind in {(each.scale, each.kind) for each in definition.thresholds}:
                own = choose_threshold(definition, scale, kind, implant=implant)
                if own is not choose_threshold(definition, scale, kind):
                    changed.append((definition.id, implant))
    assert sorted(changed) == sorted((name, implant) for name, implant, _value in BY_IMPLANT)


def test_the_rule_is_told_in_the_order_in_which_it_decides() -> None:
    told = [
        "another operation than arthroplasty",
        "printed limits include no change",
        "one implant type is used for that type only",
        "a shoulder without an implant",
        "arthroplasty before a mixed shoulder clinic",
        "people whom the source does not describe",
        "the spread of scores",
        "a single value before one end of a range",
        "a follow-up of at least a year",
        "a hemiarthroplasty among them",
        "the largest number of people",
        "the one harder to reach",
        "called improved only where it was found by what people said of their own change after arthroplasty",
        "hemiarthroplasties must have been among them",
        "the spread of scores alone never makes anybody improved",
        "a loss is judged by measurement error alone",
        "the study of the threshold",
        "anybody else",
        "the highest stated confidence first",
    ]
    places = [RULE.index(each) for each in told]
    assert places == sorted(places)


def test_every_row_has_an_anchor_of_its_own() -> None:
    definitions = [each for each in library().definitions.values() if each.thresholds]
    anchors = [[threshold_anchor(definition, each) for each in definition.thresholds] for definition in definitions]
    assert [each[0] for each in anchors] == ["threshold-1"] * len(definitions) != []
    assert anchors == [[f"threshold-{place}" for place in range(1, len(each) + 1)] for each in anchors]
