"""The elements of a drawing, and the words in it with the room that they take."""

from dataclasses import dataclass
from html import escape

from server.outcomes.figures.label_boxes import ASCENT, DESCENT, Box, Letters, fold

# Larger than the 13 px below which nothing is read, since a window of 320 px still shows the narrowest drawing a little smaller.
SIZE = 14.5
PLAIN, BOLD = Letters(SIZE), Letters(SIZE, bold=True)
HEADING = Letters(18, bold=True)
LINE = 19


def element(name: str, content: str = "", **attributes: str | float) -> str:
    """`stroke_width=2` is written stroke-width="2"; numbers get two decimals at most."""
    written = "".join(f' {key.replace("_", "-")}="{_value(value)}"' for key, value in attributes.items())
    return f"<{name}{written}>{content}</{name}>" if content else f"<{name}{written}/>"


def token(name: str) -> str:
    return f"var(--{name})"


def line(x1: float, y1: float, x2: float, y2: float, *, ink: str, wide: float = 1, dashes: str = "") -> str:
    dashed = {"stroke_dasharray": dashes} if dashes else {}
    return element("line", x1=x1, y1=y1, x2=x2, y2=y2, stroke=token(ink), stroke_width=wide, **dashed)


def strokes(moves: str, *, ink: str, wide: float, dashes: str = "") -> str:
    """Many strokes of one kind as one path."""
    dashed = {"stroke_dasharray": dashes} if dashes else {}
    return element("path", d=moves, fill="none", stroke=token(ink), stroke_width=wide, **dashed) if moves else ""


@dataclass(frozen=True)
class Words:
    """A count and what is counted, in as many lines as it takes; `y` is that of the line on which the first stands.

    `href` leads to whom it counts and `said` is what a reader of the screen hears for it; both empty for words that lead nowhere.
    """

    count: str
    lines: tuple[str, ...]
    x: float
    y: float
    anchor: str = "start"
    href: str = ""
    said: str = ""

    @property
    def boxes(self) -> tuple[Box, ...]:
        return tuple(self._box(number, width) for number, width in enumerate(self._widths()))

    def draw(self) -> str:
        # A space between lines that are folded: a reader of the screen else hears their last and first words as one.
        drawn = " ".join(self._line(number) for number in range(len(self.lines)))
        return element("a", drawn, href=self.href, aria_label=self.said) if self.href else drawn

    def _widths(self) -> list[float]:
        first, *others = (PLAIN.width(text) for text in self.lines)
        return [first + count_width(self.count), *others]

    def _box(self, number: int, width: float) -> Box:
        left = self.x - {"start": 0, "middle": width / 2, "end": width}[self.anchor]
        stands = self.y + number * LINE
        return Box(left, stands - ASCENT * SIZE, left + width, stands + DESCENT * SIZE)

    def _line(self, number: int) -> str:
        text = escape(self.lines[number])
        if number == 0 and self.count:
            leads = {"text_decoration": "underline"} if self.href else {}
            ink = token("ochre-ink" if self.href else "ink")
            text = element("tspan", self.count, font_weight=600, fill=ink, **leads) + (f" {text}" if text else "")
        anchored = {} if self.anchor == "start" else {"text_anchor": self.anchor}
        place = {"x": self.x, "y": self.y + number * LINE}
        return element("text", text, **place, font_size=SIZE, fill=token("soft"), **anchored)


@dataclass(frozen=True)
class Label:
    """Words in one line; `y` is that of the line on which they stand. A heading is in the letters of headings."""

    text: str
    x: float
    y: float
    anchor: str = "start"
    letters: Letters = PLAIN
    ink: str = "soft"

    @property
    def box(self) -> Box:
        width, size = self.letters.width(self.text), self.letters.size
        left = self.x - {"start": 0, "middle": width / 2, "end": width}[self.anchor]
        return Box(left, self.y - ASCENT * size, left + width, self.y + DESCENT * size)

    def draw(self) -> str:
        written: dict[str, str | float] = {} if self.anchor == "start" else {"text_anchor": self.anchor}
        if self.letters.bold:
            written["font_weight"] = 600
        if self.letters == HEADING:
            written["font_family"] = token("serif")
        return element(
            "text", escape(self.text), x=self.x, y=self.y, font_size=self.letters.size, fill=token(self.ink), **written
        )


def folded_labels(
    text: str, x: float, y: float, room: float, *, most: int = 4, letters: Letters = PLAIN, ink: str = "soft"
) -> list[Label]:
    """As many labels under each other as the text takes; the first stands on `y`."""
    lines = fold(text, room, letters, most=most)
    return [Label(each, x, y + number * LINE, letters=letters, ink=ink) for number, each in enumerate(lines)]


def count_width(count: str) -> float:
    """Of a count and of the space after it."""
    return BOLD.width(count) + PLAIN.width(" ") if count else 0.0


def picture(width: int, height: float, *, title: str, description: str, content: str) -> str:
    """The whole drawing. A group and not an image, since the links in an image cannot be reached."""
    named = element("title", escape(title)) + element("desc", escape(description))
    size: dict[str, str | float] = {"viewBox": f"0 0 {width} {_value(height)}", "width": width, "height": height}
    return element(
        "svg", named + content, xmlns="http://www.w3.org/2000/svg", role="group", font_family=token("sans"), **size
    )


def _value(value: str | float) -> str:
    return escape(value) if isinstance(value, str) else f"{round(value, 2):g}"
