"""What the series says of one, or of nobody: in the singular, and without a sum of nothing."""

from datetime import timedelta

from server.outcomes.series.endpoints import Endpoint
from server.outcomes.series.survival import Survival, survival_of
from server.staff.series import flow_words, survival_words
from server.staff.series.sentence_words import code_words, in_order
from tests.outcomes.series.survival_case import SURGERY, TODAY, later, many
from tests.staff.series.part_case import asked_of


def steps(number: int) -> list[str]:
    return [step.label for step in flow_words.figure_of(asked_of(many(number)).flow, lambda _loss: "").steps]


def watched(number: int, diagnosis: str = "osteoarthritis") -> Survival:
    return survival_of(many(number, diagnosis=diagnosis), Endpoint(), TODAY)


def test_one_shoulder_is_no_shoulders() -> None:
    assert steps(1)[:2] == ["operation in the log", "shoulder that the sentence means"]
    assert steps(2)[:2] == ["operations in the log", "shoulders that the sentence means"]


def test_of_nobody_watched_there_is_no_sum_and_no_follow_up() -> None:
    assert survival_words.ends(watched(0)) == "" and survival_words.follow_up(watched(0)) == ""
    assert survival_words.ends(watched(1)).startswith("1 watched = 0 revised + 1 known")


def test_one_fracture_among_others_is_told_in_the_singular() -> None:
    both = [*many(1, diagnosis="acute_fracture"), *many(2)]
    one, two = (survival_of(each, Endpoint(), TODAY) for each in (both, [*both, *many(1, diagnosis="acute_fracture")]))
    assert "1 of them was operated on for an acute fracture and is counted" in survival_words.fractures(one)
    assert "2 of them were operated on for an acute fracture and are counted" in survival_words.fractures(two)


def test_one_component_year_is_no_component_years() -> None:
    a_year = many(1, surgery_on=SURGERY, later=(later(SURGERY + timedelta(days=365)),))
    assert survival_words.rate(survival_of(a_year, Endpoint(), TODAY)).startswith("1 revised in 1 component-year;")


def test_a_glenoid_is_named_by_its_grade_or_by_words() -> None:
    assert [code_words("glenoid", code) for code in ("b2", "other", "not_recorded")] == [
        "B2", "another type of glenoid", "not recorded",
    ]  # fmt: skip
    assert in_order("glenoid", {"other", "not_recorded", "d", "a1"}) == ["a1", "d", "other", "not_recorded"]
