"""Scores spread as published, the yes or no goes with them, and silence leans towards the unhappy."""

from random import Random
from statistics import fmean, stdev

import pytest
from sqlalchemy import select

from scoring.library import Library, load_library
from server.demo.answers import Wanted, draw_parts
from server.demo.chance import draw_fate
from server.demo.invent import invent_clinic
from server.demo.recovery import draw_recovery
from server.forms.asked import AskedPart
from server.models import Response, Score, Timepoint
from tests.demo.play import TODAY, Demo

DRAWN = 1500
# 408 arthroplasties before and two years after surgery: mean and SD (doi 10.1016/j.jse.2017.03.029); and the share at the top of the
# SST of 2,635 reverse and 1,817 anatomic ones (J Shoulder Elbow Surg, "patients who achieve ceiling scores").
BEFORE, AFTER, AT_THE_TOP = (3.9, 2.8), (10.2, 2.3), (0.341, 0.434)


def drawn_forms(library: Library, years: float) -> list[tuple[int, int, int]]:
    """SST, yes or no, and pain, each of another patient; a declined item counts as no."""
    asked = [AskedPart(f"{name}@1", tuple(library.instrument(f"{name}@1").by_item)) for name in ("sst", "pass", "pain")]
    texts = {part.instrument: "any" for part in asked}
    found = []
    for number in range(DRAWN):
        random = Random(f"form {number}")
        ability = draw_recovery(random, "resurfacing_hemi").ability(years)
        sst, acceptable, pain = draw_parts(library, asked, texts, Wanted(ability), random)
        points = sum(answer.get("value", 0) for answer in sst["answers"].values())
        found.append((points, acceptable["answers"]["1"]["value"], pain["answers"]["1"]["value"]))
    return found


@pytest.fixture(scope="module")
def before() -> list[tuple[int, int, int]]:
    return drawn_forms(load_library(), 0)


@pytest.fixture(scope="module")
def after() -> list[tuple[int, int, int]]:
    return drawn_forms(load_library(), 2)


def test_scores_before_and_after_surgery_are_spread_as_published(
    before: list[tuple[int, int, int]], after: list[tuple[int, int, int]]
) -> None:
    first, later = [each[0] for each in before], [each[0] for each in after]
    assert (fmean(first), fmean(later)) == pytest.approx((BEFORE[0], AFTER[0]), abs=0.5)
    assert (stdev(first), stdev(later)) == pytest.approx((BEFORE[1], AFTER[1]), abs=0.4)


def test_as_many_as_published_reach_the_top_of_the_score(after: list[tuple[int, int, int]]) -> None:
    least, most = AT_THE_TOP
    assert least - 0.03 < fmean(each[0] == 12 for each in after) < most


def test_pain_is_worse_before_surgery(before: list[tuple[int, int, int]], after: list[tuple[int, int, int]]) -> None:
    assert fmean(each[2] for each in before) - fmean(each[2] for each in after) > 3.5


def test_few_are_content_before_surgery_most_after_and_the_score_tells_who(
    before: list[tuple[int, int, int]], after: list[tuple[int, int, int]]
) -> None:
    assert fmean(each[1] for each in before) < 0.12 and 0.69 < fmean(each[1] for each in after) < 0.9
    assert fmean((points >= 8.4) == bool(yes) for points, yes, _ in (*before, *after)) > 0.88


def test_the_silent_do_a_little_worse_than_those_who_answer() -> None:
    answered, silent = list[float](), list[float]()
    for story in invent_clinic(TODAY):
        for operation in story.operations:
            for year in range(1, 16):
                ability = operation.recovery.ability(year)
                fate = draw_fate(Random(f"{story.seed}, {operation.side}, {year}"), story, f"year-{year}", ability)
                (silent if fate.how in ("none", "late") else answered).append(ability)
    assert 0.2 < fmean(answered) - fmean(silent) < 2
    assert 0.6 < len(answered) / (len(answered) + len(silent)) < 0.85


def test_what_was_recorded_says_the_same_yes_and_no(seeded: Demo) -> None:
    scores = select(Score.response_id, Score.instrument, Score.value).where(Score.value.is_not(None))
    after_surgery = scores.join(Response).join(Timepoint, Response.timepoint_id == Timepoint.id)
    with seeded.runtime.store.reading() as session:
        rows = session.execute(after_surgery.where(Timepoint.code.like("year-%"), Response.counted)).all()
    by_form: dict[int, dict[str, float]] = {}
    for response_id, instrument, value in rows:
        by_form.setdefault(response_id, {})[instrument.partition("@")[0]] = float(value or 0)
    both = [(each["sst"], each["pass"]) for each in by_form.values() if {"sst", "pass"} <= set(each)]
    assert len(both) > 30
    assert fmean((points >= 8.4) == bool(yes) for points, yes in both) > 0.8
    assert fmean(points for points, yes in both if yes) - fmean(points for points, yes in both if not yes) > 2
