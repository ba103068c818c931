"""In the figure of the acceptable state no words lie on other words or on a mark, thin data are thin, and too few are not drawn."""

from dataclasses import replace
from itertools import combinations, pairwise

import pytest
from hypothesis import given, settings

from server.outcomes.figures.acceptable_drawing import draw_acceptable
from server.outcomes.figures.acceptable_layout import AcceptableFigure, AcceptableLayout, lay_out_acceptable
from server.outcomes.figures.fade import FULL, THIN
from server.outcomes.figures.label_boxes import LEFT_OUT, Box
from server.outcomes.figures.print import PRINT_WIDTHS
from server.outcomes.figures.widths import PAGE_WIDTHS
from tests.outcomes.figures.acceptable_case import acceptable_figure, acceptable_figures

WIDTHS = (*PAGE_WIDTHS, *(each.pixels for each in PRINT_WIDTHS.values()))


def word_boxes(layout: AcceptableLayout) -> list[Box]:
    return [label.box for label in (*layout.labels, *layout.axis.labels, *layout.strip.labels)]


def mark_boxes(layout: AcceptableLayout) -> list[Box]:
    axis, y = layout.axis.axis, layout.axis.y
    ticks = Box(axis.left, y - 8, axis.right, y)
    samples = [Box(x, y - 4, x + 26, y + 4) for x, y, _by_level in layout.samples]
    bars = [each.box for each in (*layout.strip.bars, *layout.strip.keys)]
    return [ticks, *samples, *bars, *(dot.box for line in layout.lines for dot in line.dots)]


@pytest.mark.parametrize("width", WIDTHS)
@settings(max_examples=30)
@given(figure=acceptable_figures())
def test_no_words_touch_other_words_or_a_mark_and_none_leaves_the_picture(width: int, figure: AcceptableFigure) -> None:
    layout = lay_out_acceptable(figure, width)
    boxes = word_boxes(layout)

    assert len(boxes) > 6
    assert [box for box in boxes if not box.inside(width, layout.height)] == []
    assert [pair for pair in combinations(boxes, 2) if pair[0].touches(pair[1])] == []
    assert [(box, mark) for mark in mark_boxes(layout) for box in boxes if box.touches(mark)] == []
    assert LEFT_OUT not in "".join(label.text for label in layout.labels)


@pytest.mark.parametrize("width", WIDTHS)
def test_each_share_lies_at_its_height_over_its_year(width: int) -> None:
    layout = lay_out_acceptable(acceptable_figure(), width)
    own = layout.lines[0].dots
    no_share, half, all_of_them = layout.grid

    assert [dot.x for dot in own] == [layout.axis.axis.x(year) for year in range(1, 16)]
    assert own[4].y == pytest.approx(no_share + 0.81 * (all_of_them - no_share))
    assert half == pytest.approx((no_share + all_of_them) / 2)
    assert own[4].lower is not None and own[4].upper is not None and own[4].lower > own[4].y > own[4].upper


def test_under_forty_it_is_thin_and_under_ten_it_is_not_drawn_and_not_joined() -> None:
    figure = acceptable_figure()
    own = figure.lines[0]
    of = {3: 39, 4: 9, 6: 40}
    shares = tuple(replace(each, of=of.get(each.year, 50)) for each in own.shares[:6])
    (line,) = lay_out_acceptable(replace(figure, lines=(replace(own, shares=shares),)), 820).lines

    assert [dot.weight for dot in line.dots] == [FULL, FULL, THIN, FULL, FULL]
    assert [weight for _before, _after, weight in line.joins] == [FULL, THIN, FULL]


def test_the_ends_of_two_lines_that_meet_stand_under_each_other_in_their_order() -> None:
    figure = acceptable_figure()
    own, level = figure.lines
    meeting = replace(own, shares=tuple(replace(each, share=0.15) for each in own.shares))
    layout = lay_out_acceptable(replace(figure, lines=(meeting, level)), 820)
    said = [label for label in layout.labels if label.x > layout.axis.axis.right]

    assert {label.text for label in said} == {"35 %", "own answer", "15 % by a level"}
    assert min(after.y - before.y for before, after in pairwise(said)) >= 19


def test_a_figure_without_a_share_has_its_counts_all_the_same() -> None:
    drawn = draw_acceptable(replace(acceptable_figure(), lines=()), 820)
    assert "said yes" in drawn and "<circle" not in drawn


def test_a_level_is_told_from_the_answer_without_colour() -> None:
    figure = acceptable_figure()
    own, level = (draw_acceptable(replace(figure, lines=(each,)), 820) for each in figure.lines)
    assert 'stroke-dasharray="5 4"' in level and 'stroke-dasharray="5 4"' not in own
    assert 'fill="var(--ink)"/>' not in "".join(part for part in level.split("<circle")[1:])
