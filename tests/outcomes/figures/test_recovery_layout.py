"""In the figure of recovery no words lie on other words or on a mark, and what is not known to the day is a box and no line."""

from dataclasses import replace
from itertools import combinations

import pytest
from hypothesis import given, settings

from server.outcomes.figures.fade import FULL, THIN
from server.outcomes.figures.label_boxes import LEFT_OUT, Box
from server.outcomes.figures.print import PRINT_WIDTHS
from server.outcomes.figures.recovery_drawing import draw_recovery
from server.outcomes.figures.recovery_layout import RecoveryFigure, RecoveryLayout, lay_out_recovery
from server.outcomes.figures.weeks_layout import PANEL, PanelLayout, Rise, WeekSteps
from server.outcomes.figures.widths import PAGE_WIDTHS
from tests.outcomes.figures.recovery_case import recovery_figure, recovery_figures

WIDTHS = (*PAGE_WIDTHS, *(each.pixels for each in PRINT_WIDTHS.values()))


def word_boxes(layout: RecoveryLayout) -> list[Box]:
    return [label.box for label in (*layout.labels, *(layout.steps.labels if layout.steps else ()))]


def mark_boxes(layout: RecoveryLayout) -> list[Box]:
    found = [dot.box for dot in layout.dots]
    if layout.steps is not None:
        steps = layout.steps
        found.append(Box(steps.left, steps.axis_y - 7, steps.right, steps.axis_y))
        found += [Box(steps.left, panel.top + 1, steps.right, panel.top + PANEL - 1) for panel in steps.panels]
    return found


@pytest.mark.parametrize("width", WIDTHS)
@settings(max_examples=30)
@given(figure=recovery_figures())
def test_no_words_touch_other_words_or_a_mark_and_none_leaves_the_picture(width: int, figure: RecoveryFigure) -> None:
    layout = lay_out_recovery(figure, width)
    boxes = word_boxes(layout)

    assert len(boxes) > 30
    assert [box for box in boxes if not box.inside(width, layout.height)] == []
    assert [pair for pair in combinations(boxes, 2) if pair[0].touches(pair[1])] == []
    assert [(box, mark) for mark in mark_boxes(layout) for box in boxes if box.touches(mark)] == []
    assert LEFT_OUT not in "".join(label.text for label in layout.labels)


def panel_of(*rises: Rise, last: float = 52, waiting: int = 84) -> tuple[PanelLayout, RecoveryLayout]:
    steps = WeekSteps("Work", "", rises, last, (), "", (waiting, 0, 0, 0, 0))
    layout = lay_out_recovery(replace(recovery_figure(), steps=(steps,)), 820)
    assert layout.steps is not None
    return layout.steps.panels[0], layout


def test_an_exact_time_is_an_upright_line_and_an_interval_a_box_without_one() -> None:
    panel, layout = panel_of(Rise(6, 6, 0, 0.5, 84), Rise(13, 26, 0.5, 0.8, 42))
    x, foot = layout.frame.axis.x, panel.top + PANEL
    assert [(piece.x1, piece.x2) for piece in panel.pieces] == [
        (x(0), x(6)),
        (x(6), x(6)),
        (x(6), x(13)),
        (x(26), x(52)),
    ]
    (unknown,) = panel.unknown
    assert (unknown.box.left, unknown.box.right) == (x(13), x(26))
    assert (unknown.box.bottom, unknown.box.top) == pytest.approx((foot - 0.5 * PANEL, foot - 0.8 * PANEL))


def test_under_forty_it_is_thin_and_under_ten_it_ends() -> None:
    panel, layout = panel_of(
        Rise(6, 6, 0, 0.2, 84), Rise(9, 9, 0.2, 0.4, 39), Rise(12, 12, 0.4, 0.6, 9), Rise(15, 15, 0.6, 0.7, 5)
    )
    assert [piece.weight for piece in panel.pieces] == [FULL, FULL, FULL, THIN, THIN]
    assert max(piece.x2 for piece in panel.pieces) == layout.frame.axis.x(12)


def test_it_ends_where_it_is_last_known_and_before_a_box_that_reaches_further() -> None:
    x = panel_of()[1].frame.axis.x
    assert panel_of(Rise(6, 6, 0, 0.2, 84), last=30)[0].pieces[-1].x2 == x(30)
    assert panel_of(Rise(6, 6, 0, 0.2, 84), Rise(20, 40, 0.2, 0.4, 80), last=30)[0].pieces[-1].x2 == x(20)


@pytest.mark.parametrize(("width", "said"), [(820, "6 weeks"), (320, "6 wk")])
def test_windows_are_named_in_full_where_there_is_room(width: int, said: str) -> None:
    labels = [label.text for label in lay_out_recovery(recovery_figure(), width).labels]
    assert said in labels and len({"6 weeks", "6 wk"} & set(labels)) == 1


def test_without_steps_the_windows_stand_alone() -> None:
    drawn = draw_recovery(replace(recovery_figure(), steps=(), columns=(), by_event=()), 820)
    assert "6 weeks" in drawn and "Weeks after surgery" not in drawn


def test_too_few_are_not_drawn() -> None:
    figure = recovery_figure()
    few = replace(figure, windows=tuple(replace(each, of=9) for each in figure.windows))
    assert lay_out_recovery(few, 820).dots == () and len(lay_out_recovery(figure, 820).dots) == 5
    assert [dot.weight for dot in lay_out_recovery(figure, 820).dots] == [FULL, FULL, THIN, FULL, FULL]
