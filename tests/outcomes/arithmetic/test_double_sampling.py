"""Double sampling: a part of the silent, drawn by lot, stands for all of them."""

from itertools import combinations
from statistics import mean, variance

import pytest

from server.outcomes.arithmetic.double_sampling import Lot, Told, double_sampled
from server.outcomes.arithmetic.limits import limits_of

TOLD = [Told(("told", number), float(number % 4 > 0)) for number in range(60)]  # 45 of 60 say yes
VALUES = (1.0, 0.0, 0.0, 1.0, 0.0, 0.0, 0.0, 1.0, 0.0, 0.0, 0.0, 0.0)  # what 12 silent would say


def lots(drawn: set[int], values: tuple[float, ...] = VALUES, probability: float = 0.5) -> list[Lot]:
    return [
        Lot(("silent", number), probability, value) if number in drawn else Lot(("silent", number))
        for number, value in enumerate(values)
    ]


def test_over_all_draws_the_estimate_is_what_everybody_would_have_said() -> None:
    silent = VALUES[:7]
    draws = [double_sampled(TOLD, lots(set(drawn), silent), share=True).result for drawn in combinations(range(7), 5)]
    assert len(draws) == 21
    assert mean(found.estimate for found in draws if found is not None) == pytest.approx((45 + sum(silent)) / 67)


def test_hansen_and_hurwitz_1946_by_hand() -> None:
    """A mean of 60 who answered and of 12 silent, of whom 6 were drawn: N1/N and N2/N of the two, and the variance of the sum, which is
    that of the first phase and that of the second with N2/N squared."""
    told = [Told(number, 50.0 + number % 7) for number in range(60)]
    values = tuple(30.0 + 3 * number for number in range(12))
    found = double_sampled(told, lots(set(range(6)), values), share=False)
    reached = values[:6]
    whole = (sum(each.value for each in told) + 12 * mean(reached)) / 72
    among = (sum((each.value - whole) ** 2 for each in told) + 12 * (mean(reached) - whole) ** 2) / 72**2 * 72 / 71
    within = (12 / 72) ** 2 * variance(reached) / 6
    assert found.result is not None and found.of_silent == pytest.approx(mean(reached))
    assert found.result.estimate == pytest.approx(whole)
    df = (among + within) ** 2 / (among**2 / 71 + within**2 / 5)
    assert 5 < df < 77
    half = (found.result.upper - found.result.lower) / 2
    assert half / (among + within) ** 0.5 == pytest.approx(
        2.0, abs=0.06
    )  # Student's t with that many degrees of freedom


def test_where_everybody_is_drawn_and_answers_it_is_the_plain_share() -> None:
    found = double_sampled(TOLD, lots(set(range(12)), probability=1.0), share=True)
    assert found.result is not None and found.result.estimate == pytest.approx(48 / 72)


def test_the_drawn_count_by_one_over_their_chance_where_draws_differed() -> None:
    """Four drawn with a half, two with a quarter: 16 people, and weights of 2 and 4 over them."""
    some = [Lot(number, 0.5, float(number < 3)) for number in range(4)] + [Lot(9, 0.25, 0.0), Lot(10, 0.25, 0.0)]
    found = double_sampled([], [*some, *(Lot(("not drawn", number)) for number in range(10))], share=True)
    assert found.of_silent == pytest.approx((2 * 3) / (2 * 4 + 4 * 2))


def test_what_is_answered_by_somebody_not_drawn_does_not_count() -> None:
    plain = double_sampled(TOLD, lots({0, 1, 2, 3, 4}), share=True)
    by_themselves = [lot if lot.probability else Lot(lot.person, None, 1.0) for lot in lots({0, 1, 2, 3, 4})]
    assert double_sampled(TOLD, by_themselves, share=True) == plain


def test_nothing_is_estimated_from_fewer_than_five_and_it_is_primary_only_where_three_of_four_answered() -> None:
    few = double_sampled(TOLD, lots({0, 1, 2, 3}), share=True)
    assert (few.result, few.drawn, few.drawn_answered, few.answered_well) == (None, 4, 4, False)
    assert double_sampled(TOLD, [], share=True).result is None

    def quarter(answered: int, drawn: int) -> bool:
        cast = [Lot(number, 0.25, 1.0 if number < answered else None) for number in range(drawn)]
        return double_sampled(TOLD, cast, share=True).answered_well

    assert [quarter(9, 9), quarter(10, 10), quarter(10, 13), quarter(10, 14), quarter(15, 20)] == [
        False, True, True, False, True,
    ]  # fmt: skip


def test_that_all_of_a_few_say_the_same_is_no_certainty() -> None:
    all_yes = double_sampled([Told(number, 1.0) for number in range(50)], lots(set(range(12)), (1.0,) * 12), share=True)
    assert all_yes.result is not None and all_yes.result.estimate == 1 and all_yes.result.lower < 0.95
    silent = tuple([0.0] * 12)
    same = double_sampled(TOLD, lots({0, 1, 2, 3, 4}, silent), share=True)
    varied = double_sampled(TOLD, lots({0, 1, 2, 3, 4}, (1.0, *silent[1:])), share=True)
    assert same.result is not None and varied.result is not None
    assert same.result.upper - same.result.lower > 0.6 * (varied.result.upper - varied.result.lower)


def test_two_shoulders_of_a_person_are_not_two_people() -> None:
    def told(people: int) -> list[Told]:
        return [Told(number % people, float(number % people % 3 == 0)) for number in range(60)]

    def cast(people: int) -> list[Lot]:
        return [Lot(("s", number % people), 0.5, float(number % people % 2)) for number in range(20)]

    alone = double_sampled(told(60), cast(20), share=True).result
    paired = double_sampled(told(30), cast(10), share=True).result
    assert alone is not None and paired is not None
    assert paired.upper - paired.lower > 1.2 * (alone.upper - alone.lower)


def test_where_everybody_says_yes_the_limits_are_on_the_effective_n_by_hand() -> None:
    """50 who answered and five of fifteen, who count three times: 65 squared over 50 + 5 x 9; Student's t with four degrees, 2.7764451."""
    found = double_sampled([Told(number, 1.0) for number in range(50)], lots(set(range(5)), (1.0,) * 15), share=True)
    assert found.result is not None
    assert found.result.lower == pytest.approx(1 / (1 + 2.7764451**2 / (65**2 / 95)), abs=1e-6)


def test_turning_yes_and_no_round_turns_the_limits_round() -> None:
    """Also where all of the drawn say yes."""
    found = double_sampled(TOLD, lots({0, 1, 2, 3, 4}, (1.0,) * 12), share=True).result
    turned = [Told(each.person, 1 - each.value) for each in TOLD]
    other = double_sampled(turned, lots({0, 1, 2, 3, 4}, (0.0,) * 12), share=True).result
    assert found is not None and other is not None
    assert (1 - other.estimate, 1 - other.upper, 1 - other.lower) == pytest.approx(found)


def test_a_quarter_that_says_the_same_varies_as_if_one_more_had_said_yes_and_one_more_no_by_hand() -> None:
    found = double_sampled(TOLD, lots({0, 1, 2, 3, 4}, (0.0,) * 12), share=True)
    whole = 45 / 72
    among = (45 * (1 - whole) ** 2 + 27 * whole**2) / 72**2 * 72 / 71
    within = 1 / 7 * 6 / 7 / 5 * (12 / 72) ** 2
    df = (among + within) ** 2 / (among**2 / 71 + within**2 / 4)
    assert found.result == pytest.approx(limits_of(whole, among + within, 1, share=True, df=df))


def test_a_person_with_one_shoulder_told_and_one_silent_moves_the_mean_by_both_by_hand() -> None:
    """Three people told 0, 6 and 3; the other shoulders of the first two and three of a fourth are silent and say 4, 8 and 3, 5, 10:
    a mean of 6 there and of 39/8 of all. Distances of the first phase over 8: (0 - 39/8) + (6 - 39/8), (6 - 39/8) + (6 - 39/8),
    3 - 39/8 and 3 (6 - 39/8)."""
    told = [Told("a", 0.0), Told("b", 6.0), Told("c", 3.0)]
    cast = [Lot("a", 0.5, 4.0), Lot("b", 0.5, 8.0), *(Lot("d", 0.5, value) for value in (3.0, 5.0, 10.0))]
    first = [-30 / 8, 18 / 8, -15 / 8, 27 / 8]
    among = 4 / 3 * sum((each / 8) ** 2 for each in first)
    within = 3 / 2 * sum((each / 8) ** 2 for each in (4 - 6, 8 - 6, 18 - 3 * 6))
    df = (among + within) ** 2 / (among**2 / 3 + within**2 / 2)
    assert int(df) == 4
    found = double_sampled(told, cast, share=False).result
    assert found == pytest.approx(limits_of(39 / 8, among + within, 1, share=False, df=df))


def test_two_people_who_were_drawn_have_one_degree_of_freedom_and_a_single_one_too() -> None:
    """Nobody told: the mean is that of the drawn, and what two or one of them would differ by has R's qt(.975, 1)."""
    two = [Lot(number % 2, 1.0, float(number % 2)) for number in range(6)]
    found = double_sampled([], two, share=False).result
    assert found is not None and found.upper - found.estimate == pytest.approx(12.7062047 * 0.5)  # by person 0 and 1
    one = double_sampled([], [Lot("one", 0.5, 1.0) for _each in range(6)], share=True).result
    assert one is not None and one.estimate == 1 and one.lower < 0.1
    told = double_sampled(TOLD, [Lot("one", 0.5, 1.0) for _each in range(6)], share=True).result
    assert told is not None and told.lower < 0.7 < told.estimate


def test_of_a_single_person_nothing_is_known_of_how_others_would_differ() -> None:
    cast = [Lot("one", 0.5, float(number)) for number in range(6)]
    assert double_sampled([], cast, share=False).result == pytest.approx((2.5, 2.5, 2.5))
    two = [*cast[:3], *(Lot("other", 0.5, float(number)) for number in range(3, 6))]
    found = double_sampled([], two, share=False).result
    assert found is not None and found.upper - found.lower > 1
