"""Groups side by side: no words on words or on a mark, told apart by shape, thin where few, nothing where fewer than ten."""

import re
from itertools import combinations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from server.outcomes.figures.groups import GroupLine, GroupPanel, GroupsFigure, ticks_over
from server.outcomes.figures.groups_drawing import HALF, SHAPES, draw_groups
from server.outcomes.figures.groups_layout import lay_out_groups
from server.outcomes.figures.label_boxes import LEFT_OUT, Box
from server.outcomes.figures.print import PRINT_WIDTHS
from server.outcomes.figures.widths import PAGE_WIDTHS

WIDTHS = (*PAGE_WIDTHS, *(each.pixels for each in PRINT_WIDTHS.values()))
WORDS = (
    "resurfacing hemiarthroplasty: 4.2 (3.9 to 4.5), 48 of 41 people",
    "anatómica total con glenoide " * 3,
    "n = 9",
)
numbers = st.floats(-100, 100).map(lambda value: round(value, 2))


@st.composite
def lines(draw: st.DrawFn) -> GroupLine:
    low, value, high = sorted(draw(st.tuples(numbers, numbers, numbers)))
    return GroupLine(
        draw(st.sampled_from(WORDS)),
        draw(st.integers(0, 90)),
        draw(st.sampled_from([0, 1, 2, 3, None])),
        value,
        low,
        high,
    )


@st.composite
def figures(draw: st.DrawFn) -> GroupsFigure:
    panels = []
    for title in ("Función", "Own rating, 0 to 100, higher is better, change from before surgery"):
        found = tuple(draw(st.lists(lines(), min_size=1, max_size=7)))
        panels.append(
            GroupPanel(
                title, "0–12", ticks_over(tuple(each for one in found for each in one.numbers), "{:g}".format), found
            )
        )
    return GroupsFigure("Groups side by side", tuple(panels))


@pytest.mark.parametrize("width", WIDTHS)
@settings(max_examples=12)
@given(figure=figures())
def test_no_words_touch_others_or_a_mark_and_none_leaves_the_picture(width: int, figure: GroupsFigure) -> None:
    layout = lay_out_groups(figure, width)
    boxes = [label.box for label in layout.labels]
    assert len(boxes) >= 8 and [box for box in boxes if not box.inside(width, layout.height)] == []
    assert [pair for pair in combinations(boxes, 2) if pair[0].touches(pair[1])] == []
    marks = [
        Box(panel.scale.x(min(each.line.numbers)), each.y - HALF, panel.scale.x(max(each.line.numbers)), each.y + HALF)
        for panel in layout.panels
        for each in panel.lines
    ]
    assert len(marks) == sum(len(panel.lines) for panel in figure.panels)
    assert [(mark, box) for mark in marks for box in boxes if box.touches(mark)] == []
    assert LEFT_OUT not in "".join(label.text for label in layout.labels)


def drawn(*found: GroupLine) -> str:
    return draw_groups(GroupsFigure("Groups", (GroupPanel("Pain", "", ticks_over((0, 5), "{:g}".format), found),)), 820)


def test_each_group_has_a_shape_of_its_own_and_none_is_that_of_a_side() -> None:
    shapes = {re.sub(r"[\d.]+", "", shape(0, 0)) + shape(0, 0) for shape in SHAPES}
    assert len(shapes) == len(SHAPES) == 4
    four = drawn(*(GroupLine("group", 50, mark, 2, 1, 3) for mark in range(4)))
    assert four.count('Z"') == 4 and "<circle" not in four and "<rect" not in four and "left" not in four


def test_a_line_is_thin_under_forty_and_not_drawn_under_ten() -> None:
    full, thin, none = (drawn(GroupLine("group", n, 0, 2, 1, 3)) for n in (40, 39, 9))
    assert 'stroke-width="2.3"' in full and 'stroke-width="1.3"' in thin and 'stroke-width="2.3"' not in thin
    assert 'Z"' not in none and "group" in none


def test_without_limits_a_mark_stands_alone() -> None:
    assert 'stroke-width="2.3"' not in drawn(GroupLine("group", 40, 0, 2))


TICKS: dict[tuple[float, ...], list[float]] = {
    (): [0, 0.5],
    (0.0,): [0, 0.5],
    (3.2, 4.9): [0, 1, 2, 3, 4, 5],
    (-3.0, 61.0): [-20, 0, 20, 40, 60, 80],
    (7.1, 24.0): [0, 5, 10, 15, 20, 25],
}


@pytest.mark.parametrize("numbers", TICKS)
def test_a_scale_has_round_numbers_and_zero(numbers: tuple[float, ...]) -> None:
    assert [value for value, _text in ticks_over(numbers, "{:g}".format)] == pytest.approx(TICKS[numbers])
    assert all("-" not in text for _value, text in ticks_over(numbers, "{:g}".format))
