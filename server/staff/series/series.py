"""A series of shoulders: who, in a sentence whose words open their choices, and the flow from every operation in the log to them."""

from dataclasses import dataclass

from flask import render_template, request, url_for

from server.outcomes.series.flow import choices
from server.outcomes.series.row import Record, people
from server.outcomes.series.sentence import FIRST_SHOULDER, SPANS, WORDS, Sentence
from server.staff.page import words
from server.staff.page.database import reading
from server.staff.series.asked import Asked, read_asked
from server.staff.series.part import foot_of
from server.staff.series.parts import PARTS
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


def series_page() -> str:
    """The address is the filter; `open` names the word whose choices are shown."""
    word = request.args.get("open", "")
    with reading() as session:
        asked = read_asked(session, texts=word == "text")
        parts = [build(asked) for build in PARTS.values()] if asked.record.rows else []
    sentence = asked.sentence
    return render_template(
        "staff/series/series.html",
        asked=asked,
        sentence=sentence,
        said={each: said(sentence, each) for each in WORDS},
        unread=asked.unread,
        opened=_opened(asked.record, sentence, word) if word in WORDS else None,
        kept={**sentence.without(word).address(), **asked.options} if word in WORDS else {},
        parts=parts,
        feet={part.name: foot_of(part, asked) for part in parts},
        people_meant=people(asked.flow.rows_at("meant")),
        word_link=lambda each: _link(asked, each, word),
    )


def _link(asked: Asked, word: str, opened: str) -> str:
    """To the page with this word open, or shut if it is."""
    if word == opened:
        return url_for("staff.series", **asked.address())
    return url_for("staff.series", **asked.address(), open=word, _anchor="choices")


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
