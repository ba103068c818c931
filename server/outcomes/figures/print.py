"""A figure on paper: the same drawing in plain colours and in the letters that we bring, as PDF or as PNG of 300 dots an inch."""

import re
import struct
import zlib
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import Literal

Kind = Literal["pdf", "png"]


@dataclass(frozen=True)
class PrintWidth:
    """For how many pixels a figure is laid out, and how wide it is then set."""

    pixels: int
    millimetres: int


# A journal's column, in which the words of a figure then have 7 points as journals ask for, and a slide of 10 inches, where they have 10.
PRINT_WIDTHS = {"column": PrintWidth(500, 85), "slide": PrintWidth(1024, 254)}
# The light tokens of look.css, on white.
ON_PAPER = {
    "paper": "#ffffff",
    "sheet": "#ffffff",
    "ink": "#22303a",
    "soft": "#434d56",
    "ochre-ink": "#6f430a",
    "gone": "#8a7f6d",
    "coming": "#a89d8a",
    "rule": "#ddd4c4",
    "field": "#8d8371",
    "left": "#1f6f78",
    "left-ink": "#0f545b",
    "right": "#7a3e65",
    "right-ink": "#6d3459",
    "band": "#e6dcc9",
    "sans": "Roboto",
    "serif": "Roboto",
}
FONTS = Path(__file__).parent / "fonts"
DOTS_AN_INCH = 300
# Drawing and words come in as data and are never part of the source. Title and foot grow and shrink with the words of the drawing.
SHEET = """
#let width = float(sys.inputs.millimetres) * 1mm
#let pixel = width / float(sys.inputs.pixels)
#set page(width: width, height: auto, margin: (x: 0pt, y: 2pt))
#set text(font: "Roboto", size: 14 * pixel, fill: rgb("#434d56"))
#set par(leading: 0.5em, spacing: 0.8em)
#text(size: 18 * pixel, weight: 600, fill: rgb("#22303a"), sys.inputs.title)
#image(bytes(sys.inputs.drawing), format: "svg", width: width)
#sys.inputs.foot
"""


@dataclass(frozen=True)
class Sheet:
    """`drawing`: an SVG that was laid out for `width`. `foot`: how many, of whom, as of when."""

    title: str
    drawing: str
    foot: str
    width: PrintWidth


def on_paper(svg: str) -> str:
    """The drawing with a plain value for every token; nobody can follow a link on paper, so what leads somewhere looks like all else."""
    svg = re.sub(r"<a [^>]*>(.*?)</a>", lambda found: _plain(found[1]), svg, flags=re.DOTALL)
    return re.sub(r"var\(--([\w-]+)\)", lambda found: ON_PAPER[found[1]], svg)


def _plain(link: str) -> str:
    return link.replace(' text-decoration="underline"', "").replace("var(--ochre-ink)", "var(--ink)")


def print_sheet(sheet: Sheet, kind: Kind, made_at: datetime) -> bytes:
    """The file's bytes. The same sheet and instant give the same bytes on every machine."""
    inputs = {
        "drawing": on_paper(sheet.drawing),
        "pixels": str(sheet.width.pixels),
        "millimetres": str(sheet.width.millimetres),
        "title": sheet.title,
        "foot": sheet.foot,
    }
    return typeset(SHEET.encode(), inputs, kind, made_at)


def typeset(source: bytes, inputs: dict[str, str], kind: Kind, made_at: datetime, *, accessible: bool = False) -> bytes:
    """What typst makes of its source and of the data that come in. The machine's own fonts are not used.

    `accessible`: by PDF/UA-1, so that what reads a page aloud knows titles, tables, pictures and the language.
    """
    import typst

    made = typst.compile(
        source,
        format=kind,
        ppi=DOTS_AN_INCH,
        font_paths=typst.Fonts(include_system_fonts=False, font_paths=[FONTS]),
        sys_inputs=inputs,
        timestamp=made_at.replace(microsecond=0),  # it takes whole seconds only
        pdf_standards=["ua-1"] if accessible else [],
    )
    assert isinstance(made, bytes)
    return _with_dots(made) if kind == "png" else made


def _with_dots(png: bytes) -> bytes:
    """With the chunk that says how many dots a metre has, which typst leaves out: programs else take 96 to the inch and print it large."""
    dots = round(DOTS_AN_INCH / 0.0254)
    chunk = b"pHYs" + struct.pack(">IIB", dots, dots, 1)
    header = 33  # the signature and the first chunk, which is the header
    return png[:header] + struct.pack(">I", 9) + chunk + struct.pack(">I", zlib.crc32(chunk)) + png[header:]
