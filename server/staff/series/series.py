"""A series of shoulders: who, in a sentence whose words open their choices, and the flow from every operation in the log to them."""

from dataclasses import dataclass
from typing import Any

from flask import render_template, request, url_for

from server.outcomes.series.flow import choices, flow_of
from server.outcomes.series.row import Record, people
from server.outcomes.series.rows import read_record
from server.outcomes.series.sentence import FIRST_SHOULDER, SPANS, WORDS, Sentence, sentence_in
from server.staff.page import words
from server.staff.page.database import reading
from server.staff.page.request_context import request_context
from server.staff.series.flow_words import failed_sums, lines_of, sum_of
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
    sentence, unread = sentence_in(request.args.to_dict(flat=False))
    word = request.args.get("open", "")
    with reading() as session:
        record = read_record(session, request_context().today, texts=sentence.says("text") or word == "text")
    flow = flow_of(record, sentence)
    meant = flow.rows_at("meant")
    return render_template(
        "staff/series/series.html",
        sentence=sentence,
        said={each: said(sentence, each) for each in WORDS},
        unread=unread,
        opened=_opened(record, sentence, word) if word in WORDS else None,
        kept=sentence.without(word).address() if word in WORDS else {},
        flow=flow,
        failed=failed_sums(flow),
        lines=lines_of(flow),
        sum=sum_of(flow),
        people_meant=people(meant),
        people_analysed=people(flow.rows_at("answered")),
        untold=sum(not row.takes_part for row in meant) if _says_more_than_the_log(sentence) else 0,
        word_link=lambda each: _link(sentence, each, word),
    )


def _says_more_than_the_log(sentence: Sentence) -> bool:
    of_the_record = ("model", "diagnosis", "cuff", "glenoid", "dominant", "sex", "certainty", FIRST_SHOULDER)
    return any(sentence.says(word) for word in of_the_record)


def _link(sentence: Sentence, word: str, opened: str) -> str:
    """To the page with this word open, or shut if it is."""
    arguments: dict[str, Any] = {**sentence.address()}
    if word == opened:
        return url_for("staff.series", **arguments)
    return url_for("staff.series", **arguments, open=word, _anchor="choices")


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
