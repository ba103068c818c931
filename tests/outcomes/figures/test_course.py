"""The course of a series: no words on other words or on a point, full from forty and nothing under ten, the strip below it always."""

from dataclasses import replace
from itertools import combinations

import pytest
from hypothesis import given, settings

from server.outcomes.figures.course import CourseFigure
from server.outcomes.figures.course_drawing import draw_course
from server.outcomes.figures.course_layout import lay_out_course
from server.outcomes.figures.flow import CountsDoNotAddUpProblem
from server.outcomes.figures.label_boxes import LEFT_OUT, Box
from server.outcomes.figures.print import PRINT_WIDTHS
from server.outcomes.figures.widths import PAGE_WIDTHS
from tests.outcomes.figures.course_case import course_figure, courses

WIDTHS = (*PAGE_WIDTHS, *(each.pixels for each in PRINT_WIDTHS.values()))


@pytest.mark.parametrize("width", WIDTHS)
@settings(max_examples=25)
@given(figure=courses())
def test_no_words_touch_other_words_or_a_mark_and_none_leaves_the_picture(width: int, figure: CourseFigure) -> None:
    layout = lay_out_course(figure, width)
    boxes = [label.box for label in layout.every_label]
    spots = [spot for panel in layout.panels for spot in (*panel.spots, *((panel.before,) if panel.before else ()))]
    x = layout.frame.axis.left
    triangle = Box(x - 6, layout.operation, x + 6, layout.operation + 8)
    marks = [triangle, *(spot.box for spot in spots), *(bar.box for bar in layout.strip.bars)]

    assert len(boxes) >= 3 + 3 * len(figure.panels)
    assert [box for box in boxes if not box.inside(width, layout.strip.bottom)] == []
    assert [pair for pair in combinations(boxes, 2) if pair[0].touches(pair[1])] == []
    assert [(box, mark) for mark in marks for box in boxes if box.touches(mark)] == []
    assert LEFT_OUT not in "".join(label.text for label in layout.every_label)


@pytest.mark.parametrize("width", WIDTHS)
def test_every_panel_has_its_points_and_its_last_mean_in_words(width: int) -> None:
    layout = lay_out_course(course_figure(), width)

    assert [[spot.point.year for spot in panel.spots] for panel in layout.panels] == [list(range(1, 16))] * 3
    said = [label.text for label in layout.every_label]
    assert {"8.7 mean", "2.5 mean", "74 mean", "the middle half of the answers", "mean with its limits"} <= set(said)
    assert [{"246", "22"} <= {label.text for label in panel.labels} for panel in layout.panels] == [True] * 3


def test_a_year_under_ten_is_not_drawn_and_no_line_leads_past_it() -> None:
    figure = course_figure()
    first = figure.panels[0]
    few = tuple(replace(point, n=9) if point.year == 4 else point for point in first.points)
    panel = lay_out_course(replace(figure, panels=(replace(first, points=few),)), 820).panels[0]

    assert [spot.point.year for spot in panel.spots] == [1, 2, 3, *range(5, 16)]
    assert [(one.point.year, two.point.year) for one, two in panel.joined][2:4] == [(5, 6), (6, 7)]


def test_under_forty_the_line_is_thin_and_the_band_paler() -> None:
    drawn = draw_course(course_figure(), 820)

    assert drawn.count('stroke-width="1.3"') == 3 * 3 + 1  # three of each panel, and the axis
    assert drawn.count('fill-opacity="0.55"') == 3 * 3


def test_higher_on_the_scale_is_higher_in_the_panel_and_limits_are_cut_at_its_end() -> None:
    figure = course_figure()
    points = (replace(figure.panels[0].points[0], mean=11.8, high=12, upper=12.6), figure.panels[0].points[1])
    panel = lay_out_course(replace(figure, panels=(replace(figure.panels[0], points=points),)), 820).panels[0]

    first, second = panel.spots
    assert first.y < second.y
    assert first.limits is not None and first.limits[0] == panel.top


def test_a_panel_without_enough_answers_says_so() -> None:
    figure = course_figure()
    bare = replace(figure.panels[0], points=(), before=None, end="", empty="fewer than twenty answered in each year")
    layout = lay_out_course(replace(figure, panels=(bare, *figure.panels[1:])), 820)

    assert "fewer than twenty answered in each year" in " ".join(label.text for label in layout.panels[0].labels)
    assert layout.panels[0].spots == ()


def test_where_the_strip_does_not_add_up_nothing_is_drawn() -> None:
    figure = course_figure()
    with pytest.raises(CountsDoNotAddUpProblem):
        draw_course(replace(figure, strip=replace(figure.strip, meant=357)), 820)
