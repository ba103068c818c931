"""Year marks: a shoulder's history as ticks along a ruler, at their true time. One function draws them wherever they stand.

Colours come from the style sheet by class, so that dark and forced colours work. The words go into the picture's title: a
person who does not see the marks hears the same history.
"""

from collections.abc import Sequence
from dataclasses import dataclass

from markupsafe import Markup, escape

from server.staff.page import words
from server.words.phrase import phrase_in

WORDS = {
    "answered": phrase_in("year mark", "answered"),
    "late": phrase_in("year mark", "answered late"),
    "open": phrase_in("year mark", "open now"),
    "missed": phrase_in("year mark", "missed"),
    "never_asked": phrase_in("year mark", "never asked"),
    "not_expected": phrase_in("year mark", "not expected"),
    "to_come": phrase_in("year mark", "to come"),
}
BASE = 30.5
WIDTH = 250
EDGE = 7
MOST_PER_YEAR = 20.0
CLOSEST_LABELS = 15.0
CLOSEST_MARKS = 6.0


@dataclass(frozen=True)
class Mark:
    """`years` after the first operation (negative before); `kind` is a key of WORDS; `year` may be printed under it."""

    years: float
    kind: str
    year: int | None = None


@dataclass(frozen=True)
class ShoulderRuler:
    """One shoulder's marks. `title` names it in words; `operations` are those that were done, in years after the first."""

    title: str
    marks: tuple[Mark, ...]
    operations: tuple[float, ...] = (0.0,)


def draw_ruler(strip: ShoulderRuler, *, width: int = WIDTH) -> Markup:
    """An SVG of at most `width` pixels; long histories are drawn closer together."""
    if not strip.marks:
        return Markup("")
    first = min(-0.35, min(mark.years for mark in strip.marks))
    last = max(0.6, max(mark.years for mark in strip.marks))
    per_year = min(MOST_PER_YEAR, (width - 2 * EDGE) / (last - first))

    def across(years: float) -> float:
        return round(EDGE + (years - first) * per_year, 1)

    marks = sorted(strip.marks, key=lambda mark: mark.years)
    places = _apart([across(mark.years) for mark in marks])
    end = min(width, round(places[-1] + EDGE + 1))
    parts = [_mark(x, mark.kind) for x, mark in zip(places, marks, strict=True)]
    parts += [_label(x, year) for x, year in _labels(places, marks)]
    parts.append(f'<line class="mk-rule" x1="0" x2="{end}" y1="{BASE}" y2="{BASE}"/>')
    parts += [f'<path class="mk-operation" d="M{across(at) - 4} 35.5l4-4.5 4 4.5z"/>' for at in strip.operations]
    said = escape(ruler_in_words(strip))
    return Markup(
        f'<svg class="strip" role="img" width="{end}" height="48" viewBox="0 0 {end} 48"><title>{said}</title>{"".join(parts)}</svg>'
    )


def draw_key() -> list[tuple[Markup, str]]:
    """Each kind of mark alone with its word, for the line under a list."""
    pictures = []
    for kind, word in WORDS.items():
        picture = f'{_mark(9, kind)}<line class="mk-rule" x1="1" x2="17" y1="{BASE}" y2="{BASE}"/>'
        pictures.append(
            (
                Markup(
                    f'<svg class="strip" aria-hidden="true" width="18" height="28" viewBox="0 4 18 28">{picture}</svg>'
                ),
                words.say(word),
            )
        )
    return pictures


def ruler_in_words(strip: ShoulderRuler) -> str:
    """The history in words: "Left shoulder: 8 answered, 1 missed (year 8), open now (year 10)"."""
    said = []
    for kind, word in WORDS.items():
        found = [mark for mark in strip.marks if mark.kind == kind]
        years = [str(mark.year) for mark in found if mark.year]
        if found and kind in ("missed", "never_asked", "open", "late") and years:
            said.append(
                words.ngettext("%(word)s: year %(years)s", "%(word)s: year %(years)s", len(years))
                % {"word": words.say(word), "years": ", ".join(years)}
            )
        elif found and kind != "to_come":
            said.append(f"{len(found)} {words.say(word)}")
    nothing = words.gettext("nothing asked yet")
    return f"{strip.title}: {'; '.join(said) or nothing}"


def _mark(x: float, kind: str) -> str:
    if kind == "open":
        return f'<rect class="mk-open" x="{x - 3.5}" y="6" width="7" height="24" rx="1.5"/>'
    top, bottom, lean = {
        "answered": (8, 30, 0),
        "late": (17, 30, 0),
        "missed": (8, 30, 0),
        "never_asked": (20, 28, -5),
        "not_expected": (20, 28, 5),
        "to_come": (24, 30, 0),
    }[kind]
    return f'<line class="mk-{kind.replace("_", "-")}" x1="{x - lean}" x2="{x + lean}" y1="{bottom}" y2="{top}"/>'


def _label(x: float, year: int) -> str:
    return f'<text class="mk-year" x="{x}" y="46" text-anchor="middle">{year}</text>'


def _apart(places: list[float]) -> list[float]:
    """Each mark at its time, moved on only as far as it takes to be seen beside the one before."""
    moved: list[float] = []
    for place in places:
        moved.append(round(max(place, moved[-1] + CLOSEST_MARKS), 1) if moved else place)
    return moved


def _labels(places: Sequence[float], marks: Sequence[Mark]) -> list[tuple[float, int]]:
    """The last year, and every fifth and the first two that leave it room; no year twice."""
    dated = [(x, mark.year) for x, mark in zip(places, marks, strict=True) if mark.year]
    chosen = dated[-1:]
    wanted = sorted(dated[:-1], key=lambda each: each[1] % 5 != 0)
    for x, year in wanted:
        if year % 5 and year > 2:
            continue
        if all(abs(x - other) >= CLOSEST_LABELS and year != there for other, there in chosen):
            chosen.append((x, year))
    return chosen
