"""The sentence as a filter: each of its words is a link that opens its choices, on whichever page shows the sentence."""

from dataclasses import dataclass
from typing import Any

from flask import request, url_for

from server.outcomes.series.flow import choices
from server.outcomes.series.row import Record
from server.outcomes.series.sentence import FIRST_SHOULDER, SPANS, WORDS, Sentence
from server.staff.page import words
from server.staff.series.asked import Address
from server.staff.series.sentence_words import WORDS as SAID
from server.staff.series.sentence_words import code_words, in_order, said


@dataclass(frozen=True)
class Choice:
    code: str
    text: str
    count: int
    chosen: bool


@dataclass(frozen=True)
class Opened:
    """The word whose choices stand under the sentence. `untold`: of how many the log does not tell it. `years`: those there are."""

    word: str
    title: str
    offered: list[Choice]
    untold: int
    years: tuple[int, int] | None


def word_in_address() -> str:
    """The word that is open; empty while none is."""
    word = request.args.get("open", "")
    return word if word in WORDS else ""


def choosing(said_by: Address, record: Record, page: str) -> dict[str, Any]:
    """What staff/series/sentence.html shows. `page`: the page on which the sentence stands, and where its choices lead."""
    word, sentence = word_in_address(), said_by.sentence
    kept = {name: [value] for name, value in said_by.kept.items()}
    return {
        "page": page,
        "sentence": sentence,
        "said": {each: said(sentence, each) for each in WORDS},
        "unread": said_by.unread,
        "opened": _opened(record, sentence, word) if word else None,
        "kept": {**sentence.without(word).address(), **kept} if word else {},
        "word_link": lambda each: _link(said_by, page, each, word),
    }


def _link(said_by: Address, page: str, word: str, opened: str) -> str:
    """To the page with this word open, or shut if it is."""
    if word == opened:
        return url_for(page, **said_by.address())
    return url_for(page, **said_by.address(), open=word, _anchor="choices")


def _opened(record: Record, sentence: Sentence, word: str) -> Opened:
    title = words.say(SAID[word].title)
    if word == FIRST_SHOULDER:
        return Opened(word, title, [], 0, None)
    if word in SPANS:
        found = [row.surgery_on.year if word == "years" else row.age for row in record.rows]
        years = [year for year in found if year is not None]
        return Opened(word, title, [], len(found) - len(years), (min(years), max(years)) if years else None)
    counts, untold = choices(record, sentence, word)
    codes = in_order(word, {*counts, *sentence.chosen(word)})
    offered = [
        Choice(code, code_words(word, code), counts.get(code, 0), code in sentence.chosen(word)) for code in codes
    ]
    return Opened(word, title, offered, untold, None)
