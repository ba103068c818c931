"""Who a series is about, as a sentence of words that can each be chosen. Its address is the filter: `cuff=intact&years_from=2010`.

A word nobody chose means everybody. What an address asks for and the record does not have means nobody; it is never left out in silence,
since a filter that widens by itself makes a number of other people.
"""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

# What is told of an operation, in the order in which the sentence tells it and losses are counted: whoever fits none of two words is
# lost at the first.
OF_OPERATIONS = (
    "procedure", "implant_type", "model", "diagnosis", "cuff", "glenoid", "side", "dominant", "surgeon", "sex", "certainty",
)  # fmt: skip
OF_ANSWERS = ("mode", "text")
SPANS = ("years", "age")
FIRST_SHOULDER = "first_shoulder"
WORDS = (*OF_OPERATIONS, *SPANS, FIRST_SHOULDER, *OF_ANSWERS)
NOT_RECORDED = "not_recorded"
_ENDS = {f"{word}_{end}": (word, end) for word in SPANS for end in ("from", "to")}
LARGEST = 9999


@dataclass(frozen=True)
class Span:
    """Whole years from `first` to `last`, both inside; None is an open end."""

    first: int | None = None
    last: int | None = None

    @property
    def is_open(self) -> bool:
        return self.first is None and self.last is None

    def holds(self, year: int) -> bool:
        return (self.first is None or year >= self.first) and (self.last is None or year <= self.last)


@dataclass(frozen=True)
class Sentence:
    """Each word: the codes that are chosen, sorted, and empty for all of them. `first_shoulder`: of each person the first one alone."""

    procedure: tuple[str, ...] = ()
    implant_type: tuple[str, ...] = ()
    model: tuple[str, ...] = ()
    diagnosis: tuple[str, ...] = ()
    cuff: tuple[str, ...] = ()
    glenoid: tuple[str, ...] = ()
    side: tuple[str, ...] = ()
    dominant: tuple[str, ...] = ()
    surgeon: tuple[str, ...] = ()
    sex: tuple[str, ...] = ()
    certainty: tuple[str, ...] = ()
    years: Span = Span()
    age: Span = Span()
    first_shoulder: bool = False
    mode: tuple[str, ...] = ()
    text: tuple[str, ...] = ()

    def chosen(self, word: str) -> tuple[str, ...]:
        """The codes of a word that has codes."""
        codes: tuple[str, ...] = getattr(self, word)
        return codes

    def span(self, word: str) -> Span:
        found: Span = getattr(self, word)
        return found

    def says(self, word: str) -> bool:
        """Whether the word leaves anybody out."""
        if word in SPANS:
            return not self.span(word).is_open
        return self.first_shoulder if word == FIRST_SHOULDER else bool(self.chosen(word))

    @property
    def picks_answers(self) -> bool:
        """Whether it wants some answers alone, so that whoever answered in another way or other words has no answer in it."""
        return any(map(self.says, OF_ANSWERS))

    def of_all_answers(self) -> "Sentence":
        """The same shoulders with every answer of theirs."""
        return self.without("mode").without("text")

    def without(self, word: str) -> "Sentence":
        """The same with everybody at this word."""
        everybody: dict[str, Any] = {word: getattr(Sentence(), word)}
        return replace(self, **everybody)

    def address(self) -> dict[str, list[str]]:
        """The arguments of an address that `sentence_in` reads back."""
        found = {word: list(self.chosen(word)) for word in (*OF_OPERATIONS, *OF_ANSWERS) if self.chosen(word)}
        for word in SPANS:
            span = self.span(word)
            for end, year in (("from", span.first), ("to", span.last)):
                if year is not None:
                    found[f"{word}_{end}"] = [str(year)]
        if self.first_shoulder:
            found[FIRST_SHOULDER] = ["yes"]
        return found


def sentence_in(arguments: Mapping[str, Sequence[str]]) -> tuple[Sentence, list[str]]:
    """What an address says, and what in it is no year or age, or is the wrong way round: that has to be told to whoever reads the page.

    Empty values are fields of a form that were left empty.
    """
    values: dict[str, Any] = {}
    unread: list[str] = []
    for word in (*OF_OPERATIONS, *OF_ANSWERS):
        values[word] = _codes(arguments.get(word, ()))
    for word in SPANS:
        values[word] = _span(arguments, word, unread)
    values[FIRST_SHOULDER] = "yes" in arguments.get(FIRST_SHOULDER, ())
    return Sentence(**values), unread


def _codes(given: Iterable[str]) -> tuple[str, ...]:
    return tuple(sorted({code.strip() for code in given} - {""}))


def _span(arguments: Mapping[str, Sequence[str]], word: str, unread: list[str]) -> Span:
    ends: dict[str, int] = {}
    for name, (of, end) in _ENDS.items():
        typed = next(iter(arguments.get(name, ())), "").strip() if of == word else ""
        if typed.isascii() and typed.isdigit() and int(typed[:5]) <= LARGEST and len(typed) <= len(str(LARGEST)):
            ends[end] = int(typed)
        elif typed:
            unread.append(typed)
    span = Span(ends.get("from"), ends.get("to"))
    if span.first is not None and span.last is not None and span.first > span.last:
        unread.append(f"{span.first}–{span.last}")
        return Span()
    return span
