"""The figure of implant survival: two questions on one scale, thin where few are watched, and no words on words or on a line."""

import re
from dataclasses import replace
from itertools import combinations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from server.outcomes.figures.fade import FULL, THIN
from server.outcomes.figures.label_boxes import LEFT_OUT
from server.outcomes.figures.print import PRINT_WIDTHS
from server.outcomes.figures.survival import CountRow, SurvivalFigure, between
from server.outcomes.figures.survival_drawing import draw_survival
from server.outcomes.figures.survival_layout import curve_boxes, lay_out_survival
from server.outcomes.figures.widths import PAGE_WIDTHS
from tests.outcomes.figures.survival_case import ROWS, stairs, survival_figure

WIDTHS = (*PAGE_WIDTHS, *(each.pixels for each in PRINT_WIDTHS.values()))
labels = st.sampled_from([*ROWS, "han entrado hasta ahora en la observación", "revisados por otra razón"])


@st.composite
def figures(draw: st.DrawFn) -> SurvivalFigure:
    """Of any length, with counts of any size, labels of any length and curves up to the top."""
    end = draw(st.floats(0.2, 24.9))
    start = draw(st.sampled_from([0.0, 0.1, end * 0.4]))
    top = draw(st.sampled_from([0.1, 0.2, 0.3, 0.5, 0.7, 1.0]))
    times = (start, *(float(year) for year in range(int(start) + 1, int(end) + 1)))
    counts = st.lists(st.integers(0, 99_999), min_size=len(times), max_size=len(times))
    panels = []
    for each in survival_figure(end).panels:
        rows = tuple(CountRow(draw(labels), tuple(draw(counts))) for _ in range(draw(st.integers(3, 6))))
        curve = ((start, 0.0, None, None), *(step for step in stairs(top / 1.5, end) if step[0] > start))
        dead = tuple((time, share * 1.5) for time, share, *_ in curve)
        panels.append(replace(each, rows=rows, curve=curve, beside=dead if each.beside else ()))
    words = ("" if not start else f"{start:.1f}", *(f"{time:.0f}" for time in times[1:]))
    return survival_figure(
        end,
        panels=tuple(panels),
        times=times,
        time_words=words,
        top=top,
        answered_at=times[-1],
        full=((start, end / 2),),
    )


@pytest.mark.parametrize("width", WIDTHS)
@settings(max_examples=8)
@given(figure=figures())
def test_no_words_touch_other_words_or_a_line_and_none_leaves_the_picture(width: int, figure: SurvivalFigure) -> None:
    layout = lay_out_survival(figure, width)
    boxes = [box for words in layout.words for box in words.boxes]

    assert len(boxes) > 2 * 3 * 3
    assert [box for box in boxes if not box.inside(width, layout.height)] == []
    assert [pair for pair in combinations(boxes, 2) if pair[0].touches(pair[1])] == []
    lines = [line for panel in layout.panels for line in curve_boxes(panel.panel, panel.plot)]
    assert [(line, box) for line in lines for box in boxes if box.touches(line)] == []
    assert LEFT_OUT not in "".join(text for words in layout.words for text in (words.count, *words.lines))


@pytest.mark.parametrize("width", WIDTHS)
def test_both_panels_have_one_scale_of_shares_and_of_years(width: int) -> None:
    first, second = (panel.plot for panel in lay_out_survival(survival_figure(), width).panels)
    assert first.bottom - first.top == second.bottom - second.top
    assert first.right - first.left == pytest.approx(second.right - second.left)
    assert (first.highest, first.last) == (second.highest, second.last) == (0.4, 16)


def test_panels_stand_beside_each_other_at_one_height_where_there_is_room() -> None:
    beside, below = (lay_out_survival(survival_figure(), width).panels for width in (820, 560))
    assert beside[0].plot.top == beside[1].plot.top
    assert beside[0].plot.right < beside[1].plot.left
    assert below[0].bottom < below[1].plot.top
    assert below[0].plot.left == below[1].plot.left


@pytest.mark.parametrize("width", WIDTHS)
def test_counts_stand_under_their_times_and_the_year_of_the_answer_is_among_them(width: int) -> None:
    figure = survival_figure()
    layout = lay_out_survival(figure, width).panels[0]
    assert {0, 10, 5} <= {figure.times[place] for place in layout.numbered}
    places = {words.x: words for words in layout.words if words.count in ("211", "98")}
    assert sorted(places) == pytest.approx([layout.plot.x(5), layout.plot.x(10)])


def test_a_curve_is_thin_where_fewer_than_forty_are_watched() -> None:
    stretches = survival_figure(full=((2.0, 14.0),)).stretches()
    assert stretches == [(0.0, 2.0, THIN), (2.0, 14.0, FULL), (14.0, 15.4, THIN)]
    drawn = draw_survival(survival_figure(full=((2.0, 14.0),)), 560)
    widths = re.findall(r'stroke="var\(--ink\)" stroke-width="([\d.]+)"/>', drawn)
    assert widths.count(f"{FULL.line:g}") == 2
    assert widths.count(f"{THIN.line:g}") == 4
    assert set(re.findall(r'fill-opacity="([\d.]+)"', drawn)) == {"1", f"{THIN.band:g}"}


def test_only_the_watched_who_are_enough_stand_out() -> None:
    words = lay_out_survival(survival_figure(), 1152).panels[0].words
    assert {each.count for each in words} >= {"267", "98"}
    assert "33" in {each.lines[0] for each in words}


def test_without_limits_no_band_is_drawn() -> None:
    bare = survival_figure()
    panels = tuple(replace(each, curve=stairs(0.1, 15.4, limits=False)) for each in bare.panels)
    assert "polygon" in draw_survival(bare, 560)
    assert "polygon" not in draw_survival(replace(bare, panels=panels), 560)


def test_a_stretch_of_a_curve_begins_where_the_curve_stands() -> None:
    curve = ((0.0, 0.0, None, None), (1.0, 0.1, None, None), (2.0, 0.2, None, None))
    assert between(curve, 1.5, 2.0) == [(1.5, 0.1, None, None), (2.0, 0.2, None, None)]
    assert between(curve, 0.0, 0.5) == [(0.0, 0.0, None, None)]


def test_text_has_fourteen_pixels_and_colours_are_tokens() -> None:
    drawn = draw_survival(survival_figure(), 320)
    assert set(re.findall(r'font-size="(.+?)"', drawn)) == {"14.5"}
    assert re.findall(r'(?:fill|stroke)="(?!var|none)', drawn) == []


def test_a_scale_to_fifty_has_every_ten_and_one_to_seventy_every_second_ten() -> None:
    def scale(top: float) -> list[str]:
        words = lay_out_survival(replace(survival_figure(), top=top), 820).panels[0].words
        return [
            text for said in words for text in said.lines if re.fullmatch(r"\d+ %|0", text) and said.anchor == "end"
        ]

    assert scale(0.5) == ["0", "10 %", "20 %", "30 %", "40 %", "50 %"]
    assert scale(0.7) == ["0", "20 %", "40 %", "70 %"]
