"""The implant types that a threshold can be limited to are those of a clinic's records."""

from scoring.definition import THRESHOLD_IMPLANTS
from server.fields.operation_words import IMPLANTS, threshold_type


def test_the_implant_types_of_thresholds_are_those_of_a_clinics_records() -> None:
    assert {each.like for each in IMPLANTS.values()} - {None, "none"} == set(THRESHOLD_IMPLANTS)


def test_an_implant_type_that_thresholds_know_is_judged_by_its_own() -> None:
    assert [code for code in THRESHOLD_IMPLANTS if IMPLANTS[code].like != code] == []


def test_a_stem_of_another_kind_is_judged_by_its_construct_and_an_inlay_by_none_of_one_type() -> None:
    likes = [threshold_type(each) for each in ("stemless_reverse", "short_stem_hemi", "inlay_hemi", "none", None)]
    assert likes == ["reverse", "stemmed_hemi", None, "none", None]
