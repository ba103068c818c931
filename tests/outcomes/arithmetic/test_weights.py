"""Results weighted for silence."""

import csv
from collections.abc import Sequence
from math import ceil
from pathlib import Path
from statistics import variance

import numpy as np
import pytest

from server.outcomes.arithmetic import weights
from server.outcomes.arithmetic.limits import limits_of
from server.outcomes.arithmetic.logit import Numbers, fit_logit, probabilities
from server.outcomes.arithmetic.weighted import Expected, NotWeighted, Weighted
from server.outcomes.arithmetic.weights import weighted_result

NHEFS = Path(__file__).parents[1] / "data" / "nhefs.csv"


def nhefs() -> tuple[Numbers, Numbers, Numbers]:
    """Whether they gave up smoking, their change in weight (nan: not known), and what was known before, with squares."""
    with NHEFS.open(newline="") as file:
        rows = [{name: float(value or "nan") for name, value in row.items()} for row in csv.DictReader(file)]
    known = [
        [
            1, row["sex"], row["race"], *(row[name] ** power for name in SPANS for power in (1, 2)),
            *(float(row["education"] == each) for each in (2, 3, 4, 5)),
            *(float(row[name] == each) for name in ("exercise", "active") for each in (1, 2)),
        ]
        for row in rows
    ]  # fmt: skip
    table = np.array(known)
    table[:, 1:] = (table[:, 1:] - table[:, 1:].mean(axis=0)) / table[:, 1:].std(axis=0)
    return np.array([row["qsmk"] for row in rows]), np.array([row["wt82_71"] for row in rows]), table


SPANS = ("age", "smokeintensity", "smokeyrs", "wt71")


def chance(columns: Numbers, happened: Numbers) -> Numbers:
    found: Numbers = probabilities(columns, fit_logit(columns, happened[None], 1 - happened[None]))[0]
    return found


def test_nhefs_in_hernan_and_robins_what_if_chapter_12_stabilised_weights_of_treatment_and_censoring() -> None:
    """Printed: 3.5 (2.5-4.5). statsmodels 0.15: smf.logit for the four chances, smf.wls("wt82_71 ~ qsmk", weights=w).fit(cov_type="HC0");
    R 4.2: glm(family=binomial), lm(wt82_71~qsmk, weights=w) with the sandwich by hand, 3.49649333 (2.46625084-4.52673582)."""
    gave_up, change, known = nhefs()
    lost = np.isnan(change).astype(float)
    of_treatment = chance(known, gave_up)
    of_loss = chance(np.column_stack([known, gave_up]), lost)
    loss_by_treatment = chance(np.column_stack([np.ones(len(lost)), gave_up]), lost)
    treated = np.where(gave_up == 1, gave_up.mean() / of_treatment, (1 - gave_up.mean()) / (1 - of_treatment))
    weights = (treated * (1 - loss_by_treatment) / (1 - of_loss))[lost == 0]
    value, group = change[lost == 0], gave_up[lost == 0]
    means, variance = [], 0.0
    for each in (0, 1):
        weight, found = weights[group == each], value[group == each]
        mean = (weight * found).sum() / weight.sum()
        means.append(mean)
        variance += ((weight * (found - mean)) ** 2).sum() / weight.sum() ** 2
    difference, half = means[1] - means[0], 1.959963984540054 * variance**0.5
    assert (difference, difference - half, difference + half) == pytest.approx((3.49649, 2.46625, 4.52674), abs=5e-6)
    assert (weights.min(), weights.max(), weights.mean()) == pytest.approx((0.354647, 4.093113, 0.996235), abs=5e-7)


def test_two_groups_by_hand() -> None:
    """40 of 50 answered where something was known, 20 of 50 where not: the weighted share is the mean of both groups' shares."""
    found = weighted_result([*group(1, 50, 40, 32), *group(0, 50, 20, 8)], 1, share=True)
    assert isinstance(found, Weighted)
    assert found.result.estimate == pytest.approx((32 / 40 + 8 / 20) / 2)
    assert found.effective_n == pytest.approx((40 * 1.25 + 20 * 2.5) ** 2 / (40 * 1.25**2 + 20 * 2.5**2))
    assert (found.answered, found.silent, found.predictors, found.cut) == (60, 40, 1, 0)
    assert (found.smallest, found.largest) == pytest.approx((1.25 / (100 / 60), 2.5 / (100 / 60)))
    assert found.result.lower < 0.6 < found.result.upper


def group(known: float, number: int, answered: int, yes: int, others: tuple[float, ...] = ()) -> list[Expected]:
    def value(place: int) -> float | None:
        return float(place < yes) if place < answered else None

    return [Expected((known, place), value(place), (known, *others)) for place in range(number)]


def test_limits_are_the_same_each_time_and_wider_where_people_count_twice() -> None:
    once = [*group(1, 60, 50, 40), *group(0, 60, 35, 10)]
    pairs = [Expected((each.person, "pair"), each.value, each.known) for each in once[::2] for _ in (1, 2)]
    first, again = (weighted_result(once, 7, share=True) for _ in (1, 2))
    paired = weighted_result(pairs, 7, share=True)
    assert isinstance(first, Weighted) and isinstance(paired, Weighted) and first == again
    width = first.result.upper - first.result.lower
    assert 1.2 < (paired.result.upper - paired.result.lower) / width < 1.7  # half as many people: about the root of two


def test_limits_are_the_same_in_whatever_order_the_rows_stand() -> None:
    rows = [*group(1, 60, 50, 40), *group(0, 60, 35, 10)]
    first, turned = (weighted_result(each, 7, share=True) for each in (rows, rows[::-1]))
    assert isinstance(first, Weighted) and isinstance(turned, Weighted)
    assert first.result == pytest.approx(turned.result, abs=1e-9)


def test_the_bootstrap_has_the_spread_that_theory_gives_where_silence_is_at_random() -> None:
    """Groups of one size and one share answering: the weighted mean is the plain one, and so is its spread."""
    found = weighted_result([*group(1, 300, 200, 100), *group(0, 300, 200, 100)], 3, share=True)
    assert isinstance(found, Weighted)
    assert found.result.upper - found.result.lower == pytest.approx(2 * 1.96 * (0.25 / 400) ** 0.5, rel=0.1)


def test_a_predictor_for_each_ten_of_the_smaller_group_and_no_more() -> None:
    noise = tuple(float(place) for place in range(9))
    shoulders = [*group(1, 60, 40, 20, noise), *group(0, 60, 35, 20, noise)]
    found = weighted_result(shoulders, 1, share=True)
    assert isinstance(found, Weighted) and (found.silent, found.predictors) == (45, 4)
    few = weighted_result([*group(1, 40, 15, 9, noise), *group(0, 40, 20, 9, noise)], 1, share=True)
    assert isinstance(few, Weighted) and (few.answered, few.predictors) == (35, 3)


def test_none_under_twenty_silent_or_an_effective_n_of_thirty_or_without_a_predictor() -> None:
    assert weighted_result(group(1, 100, 81, 50), 1, share=True) == NotWeighted("silent", 19)
    assert isinstance(weighted_result(group(1, 100, 80, 50), 1, share=True), Weighted)
    assert weighted_result(group(1, 60, 29, 20), 1, share=True) == NotWeighted("effective_n", 29)
    assert weighted_result([Expected(n, None, (1.0,)) for n in range(30)], 1, share=True) == NotWeighted(
        "predictors", 0
    )
    assert weighted_result([], 1, share=True) == NotWeighted("silent", 0)


def test_where_all_say_yes_the_limits_are_wilsons_on_the_effective_n() -> None:
    found = weighted_result([*group(1, 50, 40, 40), *group(0, 50, 20, 20)], 1, share=True)
    assert isinstance(found, Weighted)
    assert (found.result.estimate, found.result.upper) == pytest.approx((1, 1))
    assert found.result.lower == pytest.approx(1 / (1 + 3.8414588 / found.effective_n), abs=1e-6)


def test_extreme_weights_are_cut_and_counted() -> None:
    """Of 1,000 five answered where hardly anybody did: their weight is that of the 99th percentile."""
    found = weighted_result([*group(0, 1000, 900, 450), *group(1, 100, 5, 0)], 1, share=True, resamples=20)
    assert isinstance(found, Weighted) and found.cut == 5
    assert found.largest == pytest.approx(1) and found.result.estimate == pytest.approx(450 / 905)


def test_scores_are_weighted_too() -> None:
    low = [Expected(("low", n), 40.0 + n % 5 if n < 25 else None, (0.0,)) for n in range(50)]
    high = [Expected(("high", n), 80.0 + n % 5 if n < 45 else None, (1.0,)) for n in range(50)]
    found = weighted_result(low + high, 1, share=False)
    assert isinstance(found, Weighted) and found.result.estimate == pytest.approx(62)
    assert found.result.lower < 62 < found.result.upper


def plainly(drawn: Sequence[Expected], most: int) -> float | None:
    """The weighted mean of cells of which each of the first predictors parts one more from the rest, so that the fitted chance is the
    share of the cell that answered."""
    answered = [each for each in drawn if each.value is not None]
    if not answered:
        return None
    predictors = min(most, min(len(answered), len(drawn) - len(answered)) // 10)

    def number(known: tuple[float, ...], rows: Sequence[Expected]) -> int:
        return sum(each.known[:predictors] == known for each in rows)

    uncut = [number(known, drawn) / number(known, answered) for known in (each.known[:predictors] for each in answered)]
    lower, upper = (sorted(uncut)[ceil(part * len(uncut)) - 1] for part in (0.01, 0.99))
    cut = [min(max(weight, lower), upper) for weight in uncut]
    return sum(weight * (each.value or 0) for weight, each in zip(cut, answered, strict=True)) / sum(cut)


def chain(number: int, answering: int) -> list[Expected]:
    """Of four kinds, each with one more predictor, and the later the rarer an answer: of each eleven `answering` less the kind."""
    return [
        Expected(place // 2, float(place % 3 > 0) if place % 11 < answering - place % 4 else None, step)
        for place, step in ((place, tuple(float(each < place % 4) for each in range(3))) for place in range(number))
    ]


ONE_ANSWERS = [
    *(Expected(0, float(place % 3 > 0), (float(place % 2),)) for place in range(40)),
    Expected(1, 1.0, (1.0,)),
    *(Expected(place, None, (float(place % 2),)) for place in range(2, 30)),
]


@pytest.mark.parametrize(
    ("rows", "at_once"),
    [(chain(80, 6), 1_000), (chain(100, 9), 1), (ONE_ANSWERS, 1_000_000)],
    ids=["few answer", "few silent", "one"],
)
def test_in_each_resample_all_of_it_is_done_anew(
    rows: list[Expected], at_once: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    """One after the other and without a fit, whatever number of them is reckoned together."""
    monkeypatch.setattr(weights, "AT_ONCE", at_once)
    found = weighted_result(rows, 5, share=True, resamples=45)
    assert isinstance(found, Weighted)
    persons = sorted({each.person for each in rows}, key=repr)
    most = len(rows[0].known)
    of = {person: [each for each in rows if each.person == person] for person in persons}
    drawn = np.random.default_rng(5).integers(0, len(persons), (45, len(persons)))
    means = [plainly([each for place in places for each in of[persons[place]]], most) for places in drawn]
    known = [each for each in means if each is not None]
    mean = plainly(rows, most)
    assert mean is not None and len(known) > 20
    assert found.result == pytest.approx(limits_of(mean, variance(known), found.effective_n, share=True), abs=1e-6)


def test_predictors_of_any_scale_give_the_same_weights() -> None:
    """Megatons, or the hour as seconds since the year 1: 40 of 50, 30 of 50 and 20 of 50 answered."""
    rows = [*group(1, 50, 40, 32), *group(2, 50, 30, 15), *group(3, 50, 20, 8)]
    scales = {1: (0.0, 63e9), 2: (1e-6, 63e9), 3: (1e-6, 63e9 + 100)}
    scaled = [Expected(each.person, each.value, (*scales[int(each.known[0])], 7.0)) for each in rows]
    found = weighted_result(scaled, 1, share=True, resamples=2)
    assert isinstance(found, Weighted) and found.predictors == 3
    assert found.result.estimate == pytest.approx((32 / 40 + 15 / 30 + 8 / 20) / 3)


def test_the_lowest_weights_are_cut_too_and_what_reaches_a_percentile_just_so_is_not() -> None:
    """Of 505 answers five count once and 500 twice; of 100 one counts once; of 100 one counts four times."""
    found = weighted_result([*group(0, 1000, 500, 250), *group(1, 5, 5, 5)], 1, share=True, resamples=2)
    assert isinstance(found, Weighted) and found.cut == 5
    assert (found.smallest, found.largest) == pytest.approx((1, 1))
    low = weighted_result([*group(0, 198, 99, 50), *group(1, 1, 1, 1)], 1, share=True, resamples=2)
    assert isinstance(low, Weighted) and low.cut == 0 and low.smallest == pytest.approx(1 / 1.99)
    high = weighted_result([*group(0, 198, 99, 50), *group(1, 4, 1, 1)], 1, share=True, resamples=2)
    assert isinstance(high, Weighted) and high.cut == 1 and high.largest == pytest.approx(1)


def test_thirty_are_enough_and_people_of_any_name_are_drawn_four_hundred_times() -> None:
    rows = group(1, 60, 30, 20)
    mixed = [Expected(place if place % 2 else str(place), each.value, each.known) for place, each in enumerate(rows)]
    found = weighted_result(mixed, 1, share=True)
    assert isinstance(found, Weighted) and found.effective_n == pytest.approx(30)
    assert found == weighted_result(mixed, 1, share=True, resamples=400)
