"""A figure as a page holds it: drawn for several widths, of which the style sheet (`.figure` in pages.css) shows the widest that fits."""

from collections.abc import Callable

PAGE_WIDTHS = (320, 560, 820, 1152)


def draw_for_page(draw: Callable[[int], str]) -> str:
    """`draw` makes the drawing for a width in pixels. What is not shown is no stop of the tab key and is not read out."""
    drawings = "".join(f'<div class="drawn-{width}">{draw(width)}</div>' for width in PAGE_WIDTHS)
    return f'<div class="figure">{drawings}</div>'
