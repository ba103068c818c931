"""The figure of two shoulders: no words on words, a line for each person, dashed where lower, and the share on a ruler."""

import re
from dataclasses import replace
from itertools import combinations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from server.outcomes.figures.label_boxes import LEFT_OUT
from server.outcomes.figures.preference import Column, Line, PreferenceFigure, Ruler, Tick
from server.outcomes.figures.preference_drawing import draw_preference
from server.outcomes.figures.preference_layout import lay_out_preference
from server.outcomes.figures.print import PRINT_WIDTHS
from server.outcomes.figures.widths import PAGE_WIDTHS

WIDTHS = (*PAGE_WIDTHS, *(each.pixels for each in PRINT_WIDTHS.values()))
NAMES = (
    "resurfacing with glenoid",
    "stemmed hemiarthroplasty",
    "reverse",
    "hemiartroplastia sobre un vástago convertible",
)
PREFERS: Tick = "prefers"
NO_DIFFERENCE: Tick = "no_difference"
SILENT: Tick = "silent"
LINES = (Line(80, 70, "left", "right"), Line(20, 95, "right", "left"), Line(50, 50, "left", "right"))


def figure(
    names: tuple[str, str] = NAMES[:2], count: int = 11, share: tuple[float, float, float] | None = (0.65, 0.38, 0.86)
) -> PreferenceFigure:
    columns = tuple(
        Column(count, words, LINES, tick)
        for words, tick in (
            (f"prefer the one with {names[0]}", PREFERS),
            ("see no difference", NO_DIFFERENCE),
            (f"prefer the one with {names[1]}", PREFERS),
            ("were asked and left it open", SILENT),
        )
    )
    words = f"Of the 17 with a preference, 11 the one with {names[1]}: 65 % (38 to 86), exact p = 0.33"
    ends = (f"all with {names[0]}", "half", f"all with {names[1]}")
    ruler = None if share is None else Ruler(*share, words, ends, full=False)
    return PreferenceFigure(
        "Which?",
        columns,
        names,
        "Own rating, 0 to 100",
        100,
        "left shoulder",
        "right shoulder",
        f"lower with {names[1]}",
        "One tick is one person, in the order above",
        ruler,
    )


names = st.tuples(st.sampled_from(NAMES), st.sampled_from(NAMES))


@pytest.mark.parametrize("width", WIDTHS)
@settings(max_examples=10)
@given(of=names, count=st.integers(0, 9999), has_ruler=st.booleans())
def test_no_words_touch_other_words_or_a_plot_and_none_is_cut(
    width: int, of: tuple[str, str], count: int, has_ruler: bool
) -> None:
    layout = lay_out_preference(figure(of, count, (0.5, 0.0, 1.0) if has_ruler else None), width)
    boxes = layout.boxes
    assert len(boxes) > 15
    assert [box for box in boxes if not box.inside(width, layout.height)] == []
    assert [pair for pair in combinations(boxes, 2) if pair[0].touches(pair[1])] == []
    plots = [(column.left, column.top, column.right, column.bottom) for column in layout.columns]
    inside = [box for box in boxes for left, top, right, bottom in plots
              if box.right > left and box.left < right and box.bottom > top - 5 and box.top < bottom + 5]  # fmt: skip
    assert inside == []
    if layout.ruler is not None:
        assert [box for box in boxes if box.touches(layout.ruler.bar)] == []
    bands = [band.box for band, _tick in layout.people.bands]
    assert len(bands) == (4 if count else 0) and [box for box in bands if not box.inside(width, layout.height)] == []
    assert [(box, band) for band in bands for box in boxes if box.touches(band)] == []
    texts = [label.text for label in layout.labels] + [text for column in layout.columns for text in column.words.lines]
    assert LEFT_OUT not in "".join(texts)


def test_two_columns_stand_beside_each_other_on_the_narrowest_drawing_and_all_on_a_wide_one() -> None:
    def rows(width: int) -> list[int]:
        tops = [column.top for column in lay_out_preference(figure(("reverse", "anatomic total")), width).columns]
        return [tops.count(top) for top in sorted(set(tops))]

    assert (rows(320), rows(820)) == ([2, 2], [4])


def test_a_line_is_a_person_dashed_where_lower_and_the_shape_is_the_side() -> None:
    one = replace(figure(share=None), columns=(Column(3, "see no difference", LINES, NO_DIFFERENCE),))
    drawn = draw_preference(one, 320)
    full, dashed = (
        re.findall(pattern, drawn)
        for pattern in (r'<path d="(\S+ [^"]+)"[^>]*stroke-width="1.3"/>', r'<path d="([^"]+)"[^>]*dasharray')
    )
    assert [moves.count("M") for moves in full] == [2]
    assert [moves.count("M") for moves in dashed] == [1]
    # Three people, one more of each shape in the key.
    assert drawn.count("<circle") == 4 and drawn.count("<rect") == 4
    assert drawn.count('fill="var(--left)"') == 4 and drawn.count('fill="var(--right)"') == 4


@pytest.mark.parametrize("width", WIDTHS)
def test_the_share_lies_within_its_limits_on_a_ruler_from_none_to_all(width: int) -> None:
    ruler = lay_out_preference(figure(), width).ruler
    assert ruler is not None
    assert ruler.left < ruler.bar.left < ruler.x(0.65) < ruler.bar.right < ruler.right
    assert ruler.x(0.5) == pytest.approx((ruler.left + ruler.right) / 2)
    assert lay_out_preference(figure(share=None), width).ruler is None


def test_text_has_fourteen_pixels_and_colours_are_tokens() -> None:
    drawn = draw_preference(figure(), 320)
    assert set(re.findall(r'font-size="(.+?)"', drawn)) == {"14.5"}
    assert re.findall(r'(?:fill|stroke)="(?!var|none)', drawn) == []


def test_everybody_has_one_tick_which_tells_the_answer_without_colour() -> None:
    bands = lay_out_preference(figure(count=6), 820).people.bands
    assert [(len(list(band.places)), tick) for band, tick in bands] == [
        (6, PREFERS),
        (6, NO_DIFFERENCE),
        (6, PREFERS),
        (6, SILENT),
    ]
    tall, short, other, dotted = (band.bottom - band.top for band, _tick in bands)
    assert tall == other == dotted == 2 * short
    drawn = draw_preference(replace(figure(count=6, share=None), columns=(Column(6, "left it open", (), SILENT),)), 820)
    assert re.findall(r'<path d="([^"]+)"[^>]*dasharray="2 2"', drawn)[0].count("M") == 6
