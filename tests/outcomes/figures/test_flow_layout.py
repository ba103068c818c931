"""In the flow no words lie on other words or on a mark, none is cut or too small, and it is laid out anew for each width."""

import re
from collections.abc import Iterator
from dataclasses import replace
from itertools import combinations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from server.outcomes.figures.flow import FlowFigure, Loss, Mark, Step
from server.outcomes.figures.flow_drawing import draw_flow
from server.outcomes.figures.flow_layout import FlowLayout, lay_out_flow
from server.outcomes.figures.label_boxes import LEFT_OUT, Box
from server.outcomes.figures.print import PRINT_WIDTHS
from server.outcomes.figures.widths import PAGE_WIDTHS, draw_for_page
from tests.outcomes.figures.flow_case import LOSSES, STEPS, flow
from tests.structure.tree import ROOT

WIDTHS = (*PAGE_WIDTHS, *(each.pixels for each in PRINT_WIDTHS.values()))
SMALLEST = 13
labels = st.sampled_from(["silent", *(loss.label for loss in LOSSES), *(step.label for step in STEPS), "pérdida " * 12])
marks: st.SearchStrategy[Mark] = st.sampled_from(["missed", "not_expected", "never_asked", "not_meant"])
counts = st.integers(0, 12) | st.integers(0, 12_000)


@st.composite
def flows(draw: st.DrawFn) -> FlowFigure:
    """What is left after every loss is told as a step, or not."""
    left = draw(counts)
    losses: list[Loss] = []
    steps = [Step(draw(labels), left, left)]
    for count, told in draw(st.lists(st.tuples(counts, st.booleans()), max_size=8)):
        losses.append(Loss(draw(labels), count, count, draw(marks), draw(st.sampled_from(["", "/lost"]))))
        left += count
        steps += [Step(draw(labels), left, left)] if told else []
    if steps[-1].count != left:
        steps.append(Step("operations in the log", left, left))
    return flow(tuple(reversed(steps)), tuple(reversed(losses)))


def word_boxes(layout: FlowLayout) -> list[Box]:
    return [box for words in layout.words for box in words.boxes]


def mark_boxes(layout: FlowLayout) -> Iterator[Box]:
    for band in (layout.ruler, *(row.band for row in layout.rows)):
        yield Box(band.left, band.top, band.right, band.bottom)
    for rule in layout.rules:
        yield Box(rule.right - 1, rule.y - 2, rule.right + 1, rule.y + 6)
    yield from (guide.box for guide in layout.guides)


def test_words_stand_behind_their_mark_only_where_none_stand_above() -> None:
    short = Loss("died before being asked", 6, 6, "never_asked")
    long = Loss("asked, and answered nothing after surgery " * 2, 6, 6, "missed")
    steps = (Step("operations in the log", 400, 400), Step("with an answer after surgery", 100, 100))
    rest = Loss("another diagnosis", 288, 288, "not_meant")

    def is_behind(*losses: Loss) -> bool:
        rows = lay_out_flow(flow(steps, losses), 320).rows
        row = next(row for row in rows if row.words.lines == (short.label,))
        return row.words.y > row.band.top and row.words.x > row.band.right

    assert not is_behind(rest, short, long)
    assert is_behind(replace(rest, label="left", count=294), short)


@pytest.mark.parametrize("width", WIDTHS)
@given(figure=flows())
def test_no_words_touch_other_words_or_a_mark_and_none_leaves_the_picture(width: int, figure: FlowFigure) -> None:
    layout = lay_out_flow(figure, width)
    boxes = word_boxes(layout)

    assert len(boxes) >= len(figure.steps) + len(figure.losses)
    assert [box for box in boxes if not box.inside(width, layout.height)] == []
    assert [pair for pair in combinations(boxes, 2) if pair[0].touches(pair[1])] == []
    assert [(box, mark) for mark in mark_boxes(layout) for box in boxes if box.touches(mark)] == []


@pytest.mark.parametrize("width", WIDTHS)
@given(figure=flows())
def test_no_word_is_left_out(width: int, figure: FlowFigure) -> None:
    said = {" ".join(words.lines) for words in lay_out_flow(figure, width).words}

    assert {" ".join(loss.label.split()) for loss in figure.losses} <= {" ".join(one.split()) for one in said}
    assert LEFT_OUT not in "".join(said)


def test_words_above_rows_all_begin_at_the_edge_where_one_of_them_must() -> None:
    steps = (Step("operations in the log", 100, 90), Step("with an answer after surgery", 40, 40))
    short, long = Loss("another implant", 60, 60, "not_meant"), Loss("emergency, no time to ask", 5, 5, "never_asked")
    alone = lay_out_flow(flow(steps, (short,)), 320)
    together = lay_out_flow(flow(steps, (replace(short, count=55, people=55), long)), 320)

    assert [(row.words.anchor, row.under_words) for row in alone.rows] == [("end", False)]
    assert alone.rows[0].words.y < alone.rows[0].band.top
    assert [(row.words.anchor, row.under_words) for row in together.rows] == [("start", True)] * 2


def test_the_ruler_of_a_phone_has_numbers_too() -> None:
    few = flow((Step("operations in the log", 135, 119), Step("left", 45, 41)), (Loss("lost", 90, 80, "missed"),))
    numbers = [words.lines[0] for words in lay_out_flow(few, 320).words if not words.count]

    assert numbers == ["20", "40"]


@pytest.mark.parametrize("width", WIDTHS)
def test_every_loss_lies_under_its_own_place_on_the_ruler(width: int) -> None:
    layout = lay_out_flow(flow(), width)
    ends = [layout.ruler.right, *(row.band.right for row in layout.rows)]

    assert [row.band.left for row in layout.rows] == pytest.approx(ends[:-1])
    assert [row.band.count for row in layout.rows] == [loss.count for loss in reversed(LOSSES)]
    assert ends[-1] == pytest.approx(width - 2)
    assert [rule.right for rule in layout.rules] == pytest.approx([ends[7], ends[4], ends[2], ends[0]])


def test_a_narrow_picture_is_laid_out_anew_and_not_made_smaller() -> None:
    wide, narrow = draw_flow(flow(), 1152), draw_flow(flow(), 320)

    assert set(re.findall(r'font-size="(.+?)"', wide)) == set(re.findall(r'font-size="(.+?)"', narrow))
    assert narrow.count("<text") > wide.count("<text")


def test_text_has_thirteen_pixels_in_the_narrowest_window() -> None:
    sizes = [float(size) for size in re.findall(r'font-size="(.+?)"', draw_flow(flow(), 320))]

    assert len(sizes) > 10
    assert min(sizes) * (320 - 2 * 16) / 320 >= SMALLEST  # the page's margins in a window of 320 px


def test_the_style_sheet_shows_each_width_that_a_page_holds() -> None:
    sheet = (ROOT / "server/staff/static/staff/pages.css").read_text(encoding="utf-8")
    held = draw_for_page(lambda width: draw_flow(flow(), width))

    assert re.findall(r'class="drawn-(\d+)"', held) == [str(width) for width in PAGE_WIDTHS]
    shown = re.findall(r"@container \(min-width: (\d+)px\) .*\.drawn-(\d+) { display: block; }", sheet)
    assert shown == [(str(width), str(width)) for width in PAGE_WIDTHS[1:]]
    assert [f".drawn-{width} {{ display: none; }}" in sheet for width in PAGE_WIDTHS] == [True] * len(PAGE_WIDTHS)
