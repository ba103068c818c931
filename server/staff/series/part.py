"""A part of the series page: one question with its figure, what it says, the table behind it and its foot."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from typing import Any

from markupsafe import Markup

from server.outcomes.figures.widths import draw_for_page
from server.outcomes.series.sentence import FIRST_SHOULDER, WORDS, Sentence
from server.staff.page import words
from server.staff.series.asked import Asked
from server.staff.series.sentence_words import WORDS as SAID
from server.staff.series.sentence_words import said
from server.staff.series.strip_words import rates_words
from server.words.phrase import Phrase, phrase

Cell = str | int | float | None
# What the log, which knows nobody's record, does not tell.
_OF_THE_RECORD = ("model", "diagnosis", "cuff", "glenoid", "dominant", "sex", "certainty", FIRST_SHOULDER)
MOST_BESIDE = 700  # signs: as many lines as the lower figures are high


@dataclass(frozen=True)
class Table:
    """What stands behind a figure, as a file: names of columns in English, codes and plain numbers."""

    columns: tuple[str, ...]
    rows: tuple[tuple[Cell, ...], ...]


@dataclass(frozen=True)
class Part:
    """`draw` makes the SVG for a width in pixels; None where there is nothing to draw, and then `says` tells why.

    `failed`: which sums do not hold, in words; the figure is then not drawn, printed or given as a table. `shoulders` and `people`: the n
    of its foot, `counts` what more stands before it. `template`: what it has of its own under the drawing, with `values`.
    `asked`: what its foot is about, where that is not what the page was asked for. `year`: the one that it is of, where it is of one.
    """

    name: str
    question: str
    lead: str
    draw: Callable[[int], str] | None
    shoulders: int
    people: int
    table: Table
    failed: tuple[str, ...] = ()
    says: tuple[str, ...] = ()
    care: tuple[str, ...] = ()
    counts: str = ""
    template: str = ""
    values: Mapping[str, Any] = field(default_factory=dict)
    asked: Asked | None = None
    year: int | None = None

    @property
    def key(self) -> str:
        """The one sentence that stands for the part where the rest of it is closed."""
        return (*self.says, self.lead)[0]

    @property
    def beside(self) -> bool:
        """Whether what it says is short enough to stand beside the figure without reaching far below it."""
        return sum(map(len, self.says)) <= MOST_BESIDE

    @property
    def drawn(self) -> Markup | None:
        """For each width that a page can have; the drawing escapes its words itself."""
        return Markup(draw_for_page(self.draw)) if self.draw is not None and not self.failed else None


_TEXTS: Mapping[frozenset[str], Phrase] = {
    frozenset({"descriptive"}): phrase("Descriptive text, not the owners’ words."),
    frozenset({"licensed"}): phrase("The owners’ words."),
    frozenset({"descriptive", "licensed"}): phrase("Descriptive text and the owners’ words mixed: two ways of asking."),
}
Build = Callable[[Asked], Part]


def people_words(number: int) -> str:
    return words.ngettext("%(number)s person", "%(number)s people", number) % {"number": number}


def shoulders_words(number: int) -> str:
    return words.ngettext("%(number)s shoulder", "%(number)s shoulders", number) % {"number": number}


def foot_of(part: Part, asked: Asked) -> str:
    """How many, of whom, who answered, in whose words, as of when, of which data: stands under the figure wherever it goes."""
    asked = part.asked or asked
    n = words.gettext("n = %(shoulders)s, %(people)s.") % {
        "shoulders": shoulders_words(part.shoulders),
        "people": people_words(part.people),
    }
    as_of = words.gettext("As of %(day)s.") % {"day": words.day(asked.record.as_of)}
    data = words.gettext("Data %(digest)s.") % {"digest": short_digest(asked.followings.digest)}
    return " ".join(
        filter(
            None,
            (
                part.counts,
                n,
                untold_words(asked, part.year),
                rates_words(asked.strip, asked.sentence),
                as_of,
                texts_words(asked),
                data,
            ),
        )
    )


def untold_words(asked: Asked, year: int | None) -> str:
    """How many are meant, or of these have reached the year, of whom nobody knows all that the sentence asks; empty without any."""
    if not any(map(asked.sentence.says, _OF_THE_RECORD)):
        return ""
    meant = asked.flow.rows_at("meant")
    if year is not None:
        meant = next((each.rows_come for each in asked.strip.years if each.year == year), ())
    count = sum(not row.takes_part for row in meant)
    return _untold(count, year) if count else ""


def _untold(count: int, year: int | None) -> str:
    if year is not None:
        return words.ngettext(
            "Of %(count)s shoulder whose year %(year)s has come and whose patient does not take part, the log does not tell all that the"
            " sentence asks; it is counted as meant.",
            "Of %(count)s shoulders whose year %(year)s has come and whose patients do not take part, the log does not tell all that the"
            " sentence asks; they are counted as meant.",
            count,
        ) % {"count": count, "year": year}
    return words.ngettext(
        "Of %(count)s shoulder whose patient does not take part, the log does not tell all that the sentence asks; it is counted as meant.",
        "Of %(count)s shoulders whose patients do not take part, the log does not tell all that the sentence asks;"
        " they are counted as meant.",
        count,
    ) % {"count": count}


def short_digest(digest: str) -> str:
    """Its first twelve signs, as people can compare them."""
    return " ".join(digest[at : at + 4] for at in (0, 4, 8))


def texts_words(asked: Asked) -> str:
    """In whose words was asked; empty where nobody answered."""
    return words.say(_TEXTS[asked.texts]) if asked.texts else ""


def whom(sentence: Sentence) -> str:
    """Whom the sentence means, by the words that are chosen in it; empty where it means everybody."""
    return " ".join(f"{words.say(SAID[word].title)}: {said(sentence, word)}." for word in WORDS if sentence.says(word))
