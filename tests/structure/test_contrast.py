"""Text on every ground of the style sheets, light and dark, and the marks that carry meaning. The ratio is that of WCAG 2.2."""

import re
from pathlib import Path

import pytest

from tests.structure.tree import ROOT

TEXT = 7.0
MARK = 3.0
GROUNDS = ("paper", "sheet", "faint")
STAFF = ROOT / "server/staff/static/staff"
DOOR = ROOT / "server/demo/static"
PHONE = ROOT / "pwa/src/styles"
# For each sheet of tokens: the sheets that use them, the tokens that text is written in, what is written on a dark ground, marks and edges.
LOOKS = {
    STAFF / "look.css": (
        ("look.css", "pages.css", "texts.css", "print.css"),
        ("ink", "soft", "ochre-ink", "warn", "left-ink", "right-ink"),
        {"on-ink": "ink", "on-warn": "warn"},
        ("field", "ochre", "left", "right", "gone"),
    ),
    DOOR / "door.css": (
        ("door.css",),
        ("ink", "soft", "ochre-ink", "warn", "left", "right"),
        {"on-ink": "ink"},
        ("ochre",),
    ),
    PHONE / "base.css": (
        ("base.css", "entries.css", "low.css", "screens.css"),
        ("ink", "soft", "action", "warn", "left", "right"),
        {"on-action": "action", "on-chosen": "chosen", "paper": "warn"},
        ("edge", "ochre"),
    ),
}
# No ink of its own: what the element around it has, or what the system gives where colours are forced.
INHERITED = {"inherit", "transparent", "currentColor", "HighlightText", "CanvasText"}


def luminance(colour: str) -> float:
    digits = colour.removeprefix("#")
    digits = "".join(each * 2 for each in digits) if len(digits) == 3 else digits
    red, green, blue = (int(digits[at : at + 2], 16) / 255 for at in (0, 2, 4))
    linear = [each / 12.92 if each <= 0.04045 else ((each + 0.055) / 1.055) ** 2.4 for each in (red, green, blue)]
    return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]


def contrast(one: str, other: str) -> float:
    darker, lighter = sorted((luminance(one), luminance(other)))
    return (lighter + 0.05) / (darker + 0.05)


def modes(sheet: Path) -> dict[str, dict[str, str]]:
    """The tokens of the first :root, and the same with those of the dark one on top."""
    css = sheet.read_text(encoding="utf-8")
    light = re.search(r":root\s*{([^}]*)}", css)
    dark = re.search(r"prefers-color-scheme:\s*dark\)\s*{\s*:root\s*{([^}]*)}", css)
    assert light is not None and dark is not None, sheet
    tokens = [dict(re.findall(r"--([\w-]+):\s*(#[0-9a-f]{3,6})\b", found[1])) for found in (light, dark)]
    return {"light": tokens[0], "dark": {**tokens[0], **tokens[1]}}


def too_weak(
    tokens: dict[str, str], texts: tuple[str, ...], on_dark: dict[str, str], marks: tuple[str, ...]
) -> list[str]:
    pairs = [(name, ground, TEXT) for name in texts for ground in GROUNDS]
    pairs += [(name, ground, TEXT) for name, ground in on_dark.items()]
    pairs += [(name, ground, MARK) for name in marks for ground in GROUNDS]
    ratios = [(name, ground, contrast(tokens[name], tokens[ground]), least) for name, ground, least in pairs]
    return [f"{name} on {ground}: {ratio:.2f}" for name, ground, ratio, least in ratios if ratio < least]


def test_the_ratio_is_that_of_the_standard() -> None:
    assert contrast("#000", "#ffffff") == pytest.approx(21)
    assert contrast("#777777", "#fff") == pytest.approx(4.48, abs=0.005)


@pytest.mark.parametrize("mode", ["light", "dark"])
@pytest.mark.parametrize("sheet", LOOKS, ids=lambda sheet: sheet.stem)
def test_text_has_seven_to_one_on_every_ground_and_marks_three(sheet: Path, mode: str) -> None:
    _sheets, texts, on_dark, marks = LOOKS[sheet]

    assert too_weak(modes(sheet)[mode], texts, on_dark, marks) == []


@pytest.mark.parametrize("sheet", LOOKS, ids=lambda sheet: sheet.stem)
def test_text_is_written_in_no_other_token_than_these(sheet: Path) -> None:
    names, texts, on_dark, _marks = LOOKS[sheet]
    css = "".join((sheet.parent / name).read_text(encoding="utf-8") for name in names)
    used = set(re.findall(r"(?<![\w-])color:\s*([^;}]+?)\s*[;}]", css))
    used |= set(re.findall(r"text[^{}]*{[^}]*?fill:\s*([^;}]+?)\s*[;}]", css))

    assert "var(--soft)" in used
    assert used - INHERITED - {f"var(--{name})" for name in (*texts, *on_dark)} == set()
