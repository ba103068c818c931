"""The words in the picture of a course: no two lie on each other, and none leaves the picture, whatever is drawn."""

from datetime import date, timedelta
from itertools import combinations, pairwise

import pytest
from hypothesis import given
from hypothesis import strategies as st

from server.outcomes.figures.label_boxes import Box, Letters, apart, cut, fold
from server.staff.page.words import ENGLISH
from server.staff.patient.chart_layout import LETTERS, NARROW, PAPER, WIDE, Layout, Room, lay_out
from server.staff.patient.course import CourseChart, Line, OperationMark, Panel, Point, StateMark

BEGAN = date(2008, 1, 20)
days = st.integers(0, 11_000).map(lambda after: BEGAN + timedelta(days=after))
titles = st.sampled_from(
    ["Pain", "Shoulder test", "Own rating, version 2", "Osteoarthritis of the Shoulder Index: total", "W" * 40]
)
notes = st.sampled_from(["0–12, higher is better", "0–100 % of normal", "", "0–1900, lower is better"])
operation_words = st.sampled_from(
    ["left: reverse", "right: stemless hemiarthroplasty", "left: resurfacing hemiarthroplasty with glenoid component"]
)


@st.composite
def panels(draw: st.DrawFn) -> Panel:
    high = draw(st.sampled_from([10, 12, 48, 100, 1900]))
    lines = []
    for side in draw(st.sampled_from([("left",), ("right",), ("left", "right")])):
        found = draw(
            st.lists(st.tuples(days, st.integers(0, high)), min_size=1, max_size=5, unique_by=lambda one: one[0])
        )
        points = tuple(Point(on, value, "said", f"{value}") for on, value in sorted(found))
        lines.append(Line(side, points))
    return Panel(draw(titles), draw(notes), 0, high, tuple(lines))


@st.composite
def courses(draw: st.DrawFn) -> CourseChart:
    sides = st.sampled_from(["left", "right"])
    operated = st.builds(OperationMark, sides, days, operation_words, st.booleans())
    said = st.builds(StateMark, sides, days, st.booleans(), st.sampled_from(["yes", "no"]), st.just("said"))
    return CourseChart(
        title="Scores",
        panels=tuple(draw(st.lists(panels(), min_size=1, max_size=4))),
        operations=tuple(draw(st.lists(operated, max_size=6))),
        words=tuple(draw(st.lists(said, max_size=12))),
        words_title="Acceptable state",
        today=date(2026, 6, 15),
        sides=draw(st.sampled_from([{"left": "left", "right": "right"}, {"left": "", "right": ""}])),
        language=ENGLISH,
    )


def triangles(layout: Layout) -> list[Box]:
    return [Box(x - 6, y, x + 6, y + 8) for _operated, x, y in layout.triangles]


@given(course=courses(), room=st.sampled_from([WIDE, NARROW, PAPER]))
def test_no_two_labels_touch_and_none_leaves_the_picture(course: CourseChart, room: Room) -> None:
    layout = lay_out(course, room)
    boxes = [(label.text, label.box) for label in layout.labels]

    assert len(boxes) >= 4 * len(course.panels) + len(course.operations)
    assert [text for text, box in boxes if not box.inside(layout.frame.width, layout.height)] == []
    assert [(one[0], other[0]) for one, other in combinations(boxes, 2) if one[1].touches(other[1])] == []
    assert [text for text, box in boxes for mark in triangles(layout) if box.touches(mark)] == []


@given(st.lists(st.floats(-50, 250), min_size=1, max_size=5).map(sorted))
def test_moved_apart_they_keep_their_order_and_their_bounds(wanted: list[float]) -> None:
    places = apart(wanted, 19, 10, 133)
    assert len(places) == len(wanted) and places[0] >= 10 and places[-1] <= 133 + 1e-6
    assert all(after - before >= 19 - 1e-6 for before, after in pairwise(places))


def test_what_fits_stays_where_it_is() -> None:
    assert apart([20, 60, 100], 19, 10, 133) == [20, 60, 100]
    assert apart([130, 132], 19, 10, 133) == [114, 133]


def test_words_are_folded_between_words_and_cut_only_in_the_last_line() -> None:
    letters = Letters(10)
    assert fold("own rating of the shoulder", 60, letters, most=3) == ["own rating", "of the", "shoulder"]
    lines = fold("own rating of the shoulder, version 2", 60, letters, most=2)
    assert len(lines) == 2 and lines[1].startswith("of the") and lines[1].endswith("…")
    assert all(letters.width(line) <= 60 for line in lines)
    assert cut("Pain", 60, letters) == "Pain"


@pytest.mark.parametrize("kind", LETTERS)
def test_no_words_are_smaller_than_13_pixels(kind: str) -> None:
    assert LETTERS[kind].size >= 13
