"""The words of a new version beside those in force, paragraph by paragraph."""

from collections.abc import Iterator
from dataclasses import dataclass
from difflib import SequenceMatcher
from itertools import zip_longest

from server.queries.clinic_notices import HEADING, paragraphs
from server.texts.notices import Wording


@dataclass(frozen=True)
class ChangedParagraph:
    """Empty where there is none on that side. The title is the first one."""

    old: str
    new: str


def changed_paragraphs(old: Wording, new: Wording) -> list[ChangedParagraph]:
    """Empty when all words are the same."""
    return list(_changes(_parts(old), _parts(new)))


def _changes(before: list[str], after: list[str]) -> Iterator[ChangedParagraph]:
    for what, i1, i2, j1, j2 in SequenceMatcher(None, before, after, autojunk=False).get_opcodes():
        if what != "equal":
            pairs = zip_longest(before[i1:i2], after[j1:j2], fillvalue="")
            yield from (ChangedParagraph(old, new) for old, new in pairs)


def _parts(words: Wording) -> list[str]:
    read = paragraphs(words.content)
    return [words.title, *(f"{HEADING}{each['text']}" if each["heading"] else each["text"] for each in read)]
