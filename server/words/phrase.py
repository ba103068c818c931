"""A sentence before it has a language: areas hand it out, a page or a message says it by `Words.say`."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date
from typing import Union

# A value inside a sentence. Days, sentences and languages are said in the language of the whole, several as a list; a text stays as it is.
Value = Union[str, int, date, "Phrase", "LanguageName", "ByLanguage", tuple["Value", ...], None]


@dataclass(frozen=True)
class LanguageName:
    """ "Spanish", "español": a language by its tag, as it is called in the language of the sentence."""

    tag: str


@dataclass(frozen=True)
class ByLanguage:
    """What is said in sentences of some languages, by their tags, and `otherwise`."""

    said: Mapping[str, Value]
    otherwise: Value


@dataclass(frozen=True)
class Phrase:
    """`text` is the English sentence, which is also its name in the catalogues; its placeholders read `%(name)s`.

    `context` tells the same English apart (to open, it is open). With `plural`, `number` decides the form and is said
    as `%(count)s`, in words where it is small, or as `%(number)s`, in digits.
    """

    text: str
    values: Mapping[str, Value] = field(default_factory=dict)
    context: str | None = None
    plural: str | None = None
    number: int = 0


# Each is also a mark: tests/words/update.py reads the texts of these calls into the catalogues, so they must be written out there.


def phrase(text: str, **values: Value) -> Phrase:
    return Phrase(text, values)


def phrase_in(context: str, text: str, **values: Value) -> Phrase:
    return Phrase(text, values, context=context)


def counted_phrase(one: str, many: str, number: int, **values: Value) -> Phrase:
    return Phrase(one, values, plural=many, number=number)
