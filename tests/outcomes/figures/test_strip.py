"""The silence strip: a bar for each year, counts where there is room, no words on other words, and sums that hold or no drawing."""

from dataclasses import replace
from itertools import combinations

import pytest
from hypothesis import given, settings

from server.outcomes.figures.flow import CountsDoNotAddUpProblem
from server.outcomes.figures.label_boxes import LEFT_OUT, Box
from server.outcomes.figures.print import PRINT_WIDTHS
from server.outcomes.figures.strip_drawing import draw_strip
from server.outcomes.figures.strip_layout import HIGH, IN_BARS, StripFigure, StripLayout, lay_out_strip
from server.outcomes.figures.widths import PAGE_WIDTHS
from server.outcomes.figures.years import AxisLayout, frame_of, lay_out_axis
from tests.outcomes.figures.strip_case import COUNTS, strip_figure, strips

WIDTHS = (*PAGE_WIDTHS, *(each.pixels for each in PRINT_WIDTHS.values()))


def laid_out(figure: StripFigure, width: int) -> tuple[AxisLayout, StripLayout]:
    frame = frame_of(width, len(figure.years), end_words=80)
    axis = lay_out_axis(frame, "Years after surgery", 2)
    return axis, lay_out_strip(figure, frame, axis.bottom)


@pytest.mark.parametrize("width", WIDTHS)
@settings(max_examples=25)
@given(figure=strips())
def test_no_words_touch_other_words_or_a_mark_and_none_leaves_the_picture(width: int, figure: StripFigure) -> None:
    axis, strip = laid_out(figure, width)
    boxes = [label.box for label in (*axis.labels, *strip.labels)]
    ticks = Box(axis.axis.left, axis.y - 8, axis.axis.right, axis.y)
    marks = [ticks, *(each.box for each in (*strip.bars, *strip.keys))]

    assert len(boxes) >= 2 + len(figure.rows)
    assert [box for box in boxes if not box.inside(width, strip.bottom)] == []
    assert [pair for pair in combinations(boxes, 2) if pair[0].touches(pair[1])] == []
    assert [(box, mark) for mark in marks for box in boxes if box.touches(mark)] == []
    assert LEFT_OUT not in "".join(label.text for label in strip.labels)


@pytest.mark.parametrize("width", WIDTHS)
def test_every_year_has_its_bar_of_all_that_stand_in_it(width: int) -> None:
    _axis, strip = laid_out(strip_figure(), width)
    come = [sum(COUNTS[place][year] for place in IN_BARS) for year in range(15)]
    high = [
        sum(bar.box.bottom - bar.box.top for bar in strip.bars if bar.box.left == left)
        for left in sorted({bar.box.left for bar in strip.bars})
    ]

    assert high == [pytest.approx(HIGH * number / max(come)) for number in come]


@pytest.mark.parametrize(
    ("width", "shown"), [(320, 8), (PRINT_WIDTHS["column"].pixels, 8), (560, 8), (820, 15), (1152, 15)]
)
def test_counts_stand_at_as_many_years_as_have_room(width: int, shown: int) -> None:
    _axis, strip = laid_out(strip_figure(), width)
    come = [label for label in strip.labels if label.ink == "ink" and label.text.isdigit()]

    assert [label.text for label in come] == [
        str(sum(COUNTS[place][year] for place in IN_BARS)) for year in range(0, 15, 1 if shown == 15 else 2)
    ]
    assert len(come) == shown


def test_the_five_kinds_differ_without_colour() -> None:
    figure = strip_figure(dict.fromkeys(IN_BARS, (10,)), 50)
    drawn = draw_strip(laid_out(replace(figure, rows=()), 820)[1])

    assert [drawn.count(f'fill="var(--{fill})"') for fill in ("ink", "sheet", "band")] == [2, 1, 1]
    assert drawn.count('fill="var(--paper)"') == 2 and drawn.count('stroke-dasharray="1.6 2.4"') == 1


def test_a_year_that_does_not_hold_everybody_is_not_drawn() -> None:
    figure = strip_figure()
    short = replace(figure, years=(replace(figure.years[0], to_come=10), *figure.years[1:]))

    with pytest.raises(CountsDoNotAddUpProblem, match="year 1: 357 shoulders, and 358 are meant"):
        laid_out(short, 820)
