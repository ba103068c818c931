"""The figure about silence: estimates on one scale, and no words on other words or on a mark."""

import re
from dataclasses import replace
from itertools import combinations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from server.outcomes.figures.label_boxes import LEFT_OUT
from server.outcomes.figures.print import PRINT_WIDTHS
from server.outcomes.figures.silence_drawing import draw_silence
from server.outcomes.figures.silence_layout import Estimate, SilenceFigure, lay_out_silence
from server.outcomes.figures.strip_layout import StripFigure
from server.outcomes.figures.widths import PAGE_WIDTHS
from tests.outcomes.figures.strip_case import strip_figure, strips

WIDTHS = (*PAGE_WIDTHS, *(each.pixels for each in PRINT_WIDTHS.values()))
NAMES = (
    "169 who answered",
    "weighted for 41 silent",
    "38 who answered and a random quarter of 22 silent, 5 of 6 reached",
)


def estimate(name: str = NAMES[0], share: float = 0.72, n: int = 169, *, primary: bool = False) -> Estimate:
    said = f"{share:.0%}, limits {max(0, share - 0.06):.0%} to {min(1, share + 0.06):.0%}"
    return Estimate(name, said, share, max(0, share - 0.06), min(1, share + 0.06), n, primary)


def figure(*estimates: Estimate, strip: StripFigure | None = None) -> SilenceFigure:
    return SilenceFigure(
        "What the silent could change", "Three estimates.", "Find the state acceptable, at 5 years", estimates,
        (("Weighted", "None: 12 are silent, and it takes 20."),), strip or strip_figure(), "Years after surgery",
    )  # fmt: skip


@st.composite
def figures(draw: st.DrawFn) -> SilenceFigure:
    shares = st.floats(0, 1)
    made = [
        estimate(draw(st.sampled_from(NAMES)), draw(shares), draw(st.integers(0, 3000))) for _ in range(draw(st.integers(0, 4)))
    ]  # fmt: skip
    return figure(*made, strip=draw(strips()))


@pytest.mark.parametrize("width", WIDTHS)
@settings(max_examples=12)
@given(drawn=figures())
def test_no_words_touch_other_words_or_a_mark_and_none_leaves_the_picture(width: int, drawn: SilenceFigure) -> None:
    layout = lay_out_silence(drawn, width)
    labels = list(layout.every_label)
    boxes = [label.box for label in labels]
    assert len(boxes) > 4
    assert [box for box in boxes if not box.inside(width, layout.strip.bottom)] == []
    assert [pair for pair in combinations(boxes, 2) if pair[0].touches(pair[1])] == []
    marks = [*(row.box for row in layout.rows), *(bar.box for bar in (*layout.strip.bars, *layout.strip.keys))]
    assert [(box, mark) for mark in marks for box in boxes if box.touches(mark)] == []
    assert LEFT_OUT not in "".join(label.text for label in labels)


@pytest.mark.parametrize("width", WIDTHS)
def test_each_estimate_stands_at_its_share_on_one_scale(width: int) -> None:
    layout = lay_out_silence(figure(estimate(share=0.5), estimate(NAMES[1], 1.0), estimate(NAMES[2], 0.0)), width)
    rows = layout.rows
    assert len({(row.left, row.right) for row in rows}) == 1
    assert [row.x(row.estimate.share) for row in rows] == pytest.approx(
        [(rows[0].left + rows[0].right) / 2, rows[0].right, rows[0].left]
    )


def test_the_one_to_go_by_is_full_the_others_hollow_and_too_few_are_not_drawn() -> None:
    drawn = draw_silence(figure(estimate(), estimate(NAMES[2], primary=True), estimate(NAMES[1], n=9)), 820)
    assert re.findall(r"<circle[^>]* fill=\"var\(--(\w+)\)\"", drawn) == ["paper", "ink"]


def test_thin_where_few_answered() -> None:
    drawn = draw_silence(figure(estimate(n=40), estimate(n=39)), 820)
    assert re.findall(r"<circle[^>]* r=\"([\d.]+)\"", drawn) == ["5", "3.6"]


def test_an_empty_strip_is_drawn_without_an_axis() -> None:
    empty = replace(strip_figure(), years=(), rows=())
    assert "<circle" in draw_silence(figure(estimate(), strip=empty), 320)
