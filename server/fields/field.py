"""What one row of a field table holds."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from datetime import date
from enum import StrEnum
from types import MappingProxyType

from server.words.phrase import Phrase
from server.words.term import term, terms

# What a field can hold once it is read. None is "not recorded"; `unknown` is a word of its own.
Value = str | int | float | bool | date | tuple[str, ...] | Mapping[str, str] | None
Sentence = str | Phrase  # a text is English; a phrase is said in the reader's language
Errors = dict[str, list[Sentence]]  # field name to plain sentences
OTHER = "other"  # the word of a choice beside which a text says what else
# How sure the clinic is of what happened.
CERTAINTIES: Mapping[str, str] = MappingProxyType(
    terms(
        {"reported": "said by the patient", "confirmed": "checked by staff", "adjudicated": "judged by a named person"}
    )
)
NO_WORDS: Mapping[str, str] = MappingProxyType({})


class Kind(StrEnum):
    CHOICE = "choice"  # one of `words`
    SEVERAL = "several"  # some of `words`, each once, in an order that may matter
    CODED = "coded"  # typed text that leaves the clinic as one of `words`, or as `other`
    TEXT = "text"  # one line
    LINES = "lines"  # several lines
    LIST = "list"  # several texts, one a line
    BY_LANGUAGE = "by_language"  # one line for each of the clinic's languages
    NUMBER = "number"
    WHOLE = "whole"
    YES_NO = "yes_no"
    DAY = "day"


class Leaves(StrEnum):
    """How much of a field an export shows."""

    AS_IS = "as_is"
    CODED = "coded"  # as a word of the field's list; anything else that was typed as `other`
    NOTED = "noted"  # only that something is noted


class When(StrEnum):
    """The operations of which a field is entered."""

    ALWAYS = "always"
    DONE = "done"
    PLANNED = "planned"


class Tense(StrEnum):
    """Where a day can lie."""

    ANY = "any"
    PAST = "past"
    AHEAD = "ahead"
    BIRTH = "birth"


@dataclass(frozen=True)
class Export:
    """The column of the exported files. `label`: at most 80 characters, since programs cut longer ones; `note`: what more there is to say.

    `files`: those it stands in; `codes` where the field's own words do not say them.
    """

    label: str
    column: str = ""  # empty: the field's name
    leaves: Leaves = Leaves.AS_IS
    files: tuple[str, ...] = ("operations",)
    codes: tuple[str, ...] = ()
    note: str = ""


@dataclass(frozen=True)
class Field:
    """`name` is the model's column. Either `export` says how the field leaves the clinic, or `stays` says why it does not.

    `in_front`: asked in the open part of a form, and shown on a page even when it is not recorded. `asked` is False for what is
    not entered with the rest, such as the day of a cancellation. `precision` names the column that says how exact a day is.
    `beside` names the choice whose word `other` this text explains.
    """

    name: str
    label: str
    kind: Kind
    group: str = ""
    words: Mapping[str, str] = field(default_factory=lambda: NO_WORDS)
    longest: int | None = None
    unit: str = ""
    least: float | None = None
    most: float | None = None
    tense: Tense = Tense.ANY
    precision: str = ""
    beside: str = ""
    required: bool = False
    asked: bool = True
    in_front: bool = False
    when: When = When.ALWAYS
    kinds: tuple[str, ...] = ()  # of operations; empty: every kind
    hint: str = ""
    export: Export | None = None
    stays: str = ""

    def __post_init__(self) -> None:
        """Label, unit, hint and words are said in a reader's language wherever a page shows them."""
        for name in ("label", "unit", "hint"):
            object.__setattr__(self, name, term(getattr(self, name)))
        object.__setattr__(self, "words", MappingProxyType(terms(self.words)))

    @property
    def column(self) -> str:
        """The name it is exported under."""
        return (self.export.column if self.export else "") or self.name

    def applies(self, *, kind: str, done: bool) -> bool:
        """Whether the field is entered of an operation of this kind, done or planned."""
        at_this_time = {When.ALWAYS: True, When.DONE: done, When.PLANNED: not done}[self.when]
        return at_this_time and (not self.kinds or kind in self.kinds)


def plain_words(*codes: str) -> dict[str, str]:
    """Codes that need no other words: `full_tear` is "full tear"."""
    return terms({code: code.replace("_", " ") for code in codes})


def named(fields: Iterable[Field], name: str) -> Field:
    return next(each for each in fields if each.name == name)
