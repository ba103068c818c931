"""A figure on paper: plain colours, our own letters, the width that was asked for, and the same bytes each time."""

import re
import struct
import subprocess
import sys
import zlib
from dataclasses import replace
from datetime import UTC, datetime, timedelta

import pytest

from server.outcomes.figures.flow_drawing import draw_flow
from server.outcomes.figures.print import ON_PAPER, PRINT_WIDTHS, Sheet, on_paper, print_sheet
from tests.outcomes.figures.flow_case import LOSSES, flow
from tests.structure.test_contrast import STAFF, modes

AS_OF = datetime(2026, 11, 27, tzinfo=UTC)
MM_AN_INCH, POINTS_AN_INCH = 25.4, 72


def sheet(width: str) -> Sheet:
    figure = flow(losses=tuple(replace(loss, href="") for loss in LOSSES))
    wide = PRINT_WIDTHS[width]
    return Sheet(figure.title, draw_flow(figure, wide.pixels), f"{figure.sum}. n = #303 [*] $x$", wide)


def test_nothing_is_left_of_the_style_sheet() -> None:
    assert "var(" in sheet("column").drawing
    assert "var(" not in on_paper(sheet("column").drawing)


def test_paper_has_the_inks_of_the_page_on_white() -> None:
    light = modes(STAFF / "look.css")["light"]
    inks = set(ON_PAPER) - {"sans", "serif", "paper", "sheet"}

    assert {name: ON_PAPER[name] for name in inks} == {name: light[name] for name in inks}
    assert ON_PAPER["paper"] == ON_PAPER["sheet"] == "#ffffff"


def test_a_column_is_85_mm_wide_as_pdf() -> None:
    made = print_sheet(sheet("column"), "pdf", AS_OF)
    box = re.search(rb"/MediaBox ?\[0 0 ([\d.]+) [\d.]+\]", made)

    assert made.startswith(b"%PDF") and box is not None
    assert float(box[1]) / POINTS_AN_INCH * MM_AN_INCH == pytest.approx(85, abs=0.2)


def test_the_letters_are_ours_and_none_of_the_machine() -> None:
    fonts = set(re.findall(rb"/BaseFont ?/\w+\+([\w-]+)", print_sheet(sheet("slide"), "pdf", AS_OF)))

    assert fonts == {b"Roboto-Regular", b"Roboto-SemiBold"}


def test_a_png_has_300_dots_an_inch() -> None:
    made = print_sheet(sheet("column"), "png", AS_OF)
    (wide,) = struct.unpack(">I", made[16:20])

    assert wide == pytest.approx(PRINT_WIDTHS["column"].millimetres / MM_AN_INCH * 300, abs=1)
    told = made.index(b"pHYs")
    assert struct.unpack(">IIB", made[told + 4 : told + 13]) == (11811, 11811, 1) and told < made.index(b"IDAT")
    assert struct.unpack(">I", made[told + 13 : told + 17])[0] == zlib.crc32(made[told : told + 13])


def test_a_link_looks_like_all_else_on_paper() -> None:
    drawn = draw_flow(flow(), PRINT_WIDTHS["column"].pixels)
    printed = on_paper(drawn)

    assert "<a " in drawn and "underline" in drawn and LOSSES[0].label.split()[0] in printed
    assert not re.search(r"</?a\b|underline|href", printed) and ON_PAPER["ochre-ink"] not in printed


def test_the_same_figure_gives_the_same_bytes() -> None:
    assert print_sheet(sheet("column"), "pdf", AS_OF) == print_sheet(sheet("column"), "pdf", AS_OF)


def test_what_is_made_between_two_seconds_of_the_clock_is_printed_too() -> None:
    between = AS_OF + timedelta(microseconds=654321)
    assert print_sheet(sheet("column"), "pdf", between) == print_sheet(sheet("column"), "pdf", AS_OF)


def test_the_server_starts_without_the_typesetter_and_without_numbers_of_others() -> None:
    asked = "import sys, server.app, server.outcomes.figures.print; print({'typst', 'numpy', 'statsmodels', 'pandas'} & set(sys.modules))"

    assert subprocess.run([sys.executable, "-c", asked], capture_output=True, text=True, check=True).stdout == "set()\n"
