"""Every part of the series of a rich clinic as it is printed: a column that fits a journal's page, and a slide that is wider than tall."""

import re
from collections.abc import Iterator
from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from functools import partial
from typing import Any

import pytest
from flask import g

from server.models.staff import IN
from server.outcomes.figures.preference_drawing import draw_preference
from server.outcomes.figures.print import PRINT_WIDTHS, Sheet, print_sheet
from server.outcomes.series.followed import Followed
from server.outcomes.series.preference import NO_DIFFERENCE, Told, both_shoulders, preference_of
from server.outcomes.series.recovery import recovery_of
from server.outcomes.series.returns import ACTIVITIES
from server.outcomes.series.returns import Told as ToldWeeks
from server.outcomes.series.returns_reading import ReadReturns
from server.outcomes.series.sentence import Sentence
from server.staff.page.request_context import read_request_context
from server.staff.page.sessions import SignedIn
from server.staff.series.asked import Asked
from server.staff.series.part import Part, foot_of
from server.staff.series.parts import PARTS
from server.staff.series.preference_words import counts, figure_of
from server.staff.series.recovery_part import part_of
from server.words.language import Words
from tests.outcomes.series.followed_case import (
    SURGERY,
    TODAY,
    answered,
    before_surgery,
    followings,
    later,
    line,
    shoulder,
)
from tests.outcomes.series.test_preference import person
from tests.outcomes.series.test_recovery import LEVELS, one
from tests.staff.series.part_case import asked_of
from tests.staff.staff_case import StaffCase

pytestmark = pytest.mark.parametrize("database_url", ["sqlite"], indirect=True, scope="module")
LONG_AGO = date(2006, 3, 1)
AS_OF = datetime(2026, 6, 15, tzinfo=UTC)
TALLEST_COLUMN = 230  # mm, what a journal's page has for a figure and the words under it
MM_A_POINT = 25.4 / 72
GLENOIDS = ("a1", "a2", "b1", "b2")
REASONS = ("declined", "abroad", "emergency", "language", "no_capacity", "missed", "died")


def shoulders() -> list[Followed]:
    """Eighteen years of answers that grow fewer, four groups that are large enough, events in each, many who died."""
    made = []
    for number in range(200):
        scores: dict[str, Any] = {"sst": 7 + number % 6, "pain@1/pain": number % 4, "sane@1/sane": 70 + number % 31}
        scores |= {"pass@1/acceptable": number % 5 > 0}
        before: dict[str, Any] = {"sst": number % 5, "pain@1/pain": 5 + number % 4, "sane@1/sane": 20 + number % 30}
        values: dict[str, Any] = {"glenoid": GLENOIDS[number % 4], "sex": ("female", "male")[number % 8 // 4]}
        if number % 8 == 1:
            values["later"] = (later(date(2008 + number % 12, 5, 1)),)
        if number % 7 == 3:
            values["died"] = date(2010 + number % 15, 9, 1)
        years = range(1, 19 if number % 3 else 6)
        points = [answered(year, surgery_on=LONG_AGO, **scores) for year in years]
        surgery = before_surgery(surgery_on=LONG_AGO, **before)
        made.append(shoulder(surgery, *points, surgery_on=LONG_AGO, **values))
    return made


def recovery() -> Part:
    """Half a hundred who were asked for weeks at work, at sport and at the wheel, and as many looks at their first year."""
    asked = [one("nnyyy") for _each in range(50)]
    back = [
        (
            ToldWeeks(
                SURGERY + timedelta(weeks=26), dict.fromkeys(ACTIVITIES, 1), dict.fromkeys(ACTIVITIES, week % 20 + 2)
            ),
        )
        for week in range(50)
    ]
    read = followings(asked)
    told = ReadReturns(tuple(zip(asked, back, strict=True)))
    return part_of(recovery_of(read, read.record.rows, Sentence(), LEVELS, told), Sentence())


def preference(asked: Asked) -> Part:
    """All four answers, and people enough in each for lines that lie close."""
    answers = [*["left"] * 14, *["right"] * 21, *[NO_DIFFERENCE] * 9, *[None] * 4]
    people = [
        each
        for number in range(1, len(answers) + 1)
        for each in person(number, ratings=(60 + number % 40, 95 - number))
    ]
    (pair,) = preference_of(
        both_shoulders(people),
        {number: Told(TODAY, answer) for number, answer in enumerate(answers, 1)},
        Sentence(),
        TODAY,
    ).pairs
    made = PARTS["preference"](asked)
    return replace(made, draw=partial(draw_preference, figure_of(pair, made.question)), counts=counts(pair))


@pytest.fixture
def rich(staff: StaffCase) -> Iterator[Asked]:
    with staff.app.test_request_context("/series"), staff.case.store.reading() as session:
        g.request_context = read_request_context(session, AS_OF)
        g.signed_in = SignedIn(1, "Dr Quill", "quill@clinic.example", "surgeon", 1, "", AS_OF, None, IN)
        others = [line(not_enrolled=reason, surgery_on=LONG_AGO) for reason in REASONS]
        yield replace(asked_of(shoulders(), *others), session=session)


def millimetres(part: Part, asked: Asked, width: str) -> tuple[float, float]:
    assert part.draw is not None and part.failed == ()
    wide = PRINT_WIDTHS[width]
    made = print_sheet(Sheet(part.question, part.draw(wide.pixels), foot_of(part, asked), wide), "pdf", AS_OF)
    box = re.search(rb"/MediaBox ?\[0 0 ([\d.]+) ([\d.]+)\]", made)
    assert box is not None
    return float(box[1]) * MM_A_POINT, float(box[2]) * MM_A_POINT


@pytest.mark.parametrize("language", ["en", "es"])
def test_a_column_fits_a_journals_page_and_a_slide_is_wider_than_tall(rich: Asked, language: str) -> None:
    g.words = Words("staff", language)
    parts = {name: build(rich) for name, build in PARTS.items()}
    parts |= {"recovery": recovery(), "preference": preference(rich)}
    for by in ("sex", "glenoid"):
        parts[f"groups by {by}"] = PARTS["groups"](replace(rich, options={"by": by}))
    columns = {name: millimetres(part, rich, "column") for name, part in parts.items() if name != "groups"}
    slides = {name: millimetres(part, rich, "slide") for name, part in parts.items() if name != "groups"}

    assert len(columns) == len(PARTS) + 1
    assert {name: high for name, (_wide, high) in columns.items() if high > TALLEST_COLUMN} == {}
    assert {round(wide) for wide, _high in columns.values()} == {85}
    assert {name: size for name, size in slides.items() if size[1] >= size[0]} == {}
