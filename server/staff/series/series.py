"""A series of shoulders: who, in a sentence whose words open their choices, and the flow from every operation in the log to them."""

from dataclasses import dataclass
from functools import partial
from typing import Any

from flask import render_template, request, url_for

from server.outcomes.series.flow import Loss, choices, flow_of
from server.outcomes.series.row import Record, people
from server.outcomes.series.rows import read_record
from server.outcomes.series.sentence import FIRST_SHOULDER, SPANS, WORDS, Sentence, sentence_in
from server.staff.page import words
from server.staff.page.database import reading
from server.staff.page.request_context import request_context, signed_in
from server.staff.page.route import CARE
from server.staff.series.flow_words import (
    can_be_listed,
    drawn,
    failed_sums,
    figure_of,
    lines_of,
    people_words,
    shoulders_words,
)
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
    meant, analysed, failed = flow.rows_at("meant"), flow.rows_at("answered"), failed_sums(flow)
    link = partial(_people_link, sentence)
    figure = figure_of(flow, link)
    return render_template(
        "staff/series/series.html",
        sentence=sentence,
        said={each: said(sentence, each) for each in WORDS},
        unread=unread,
        opened=_opened(record, sentence, word) if word in WORDS else None,
        kept=sentence.without(word).address() if word in WORDS else {},
        flow=flow,
        failed=failed,
        lines=lines_of(flow, link),
        drawing=drawn(figure) if record.rows and not failed else None,
        sum=figure.sum,
        people_meant=people(meant),
        in_shoulders=shoulders_words(len(analysed)),
        in_people=people_words(people(analysed)),
        untold=sum(not row.takes_part for row in meant) if _says_more_than_the_log(sentence) else 0,
        word_link=lambda each: _link(sentence, each, word),
    )


def _says_more_than_the_log(sentence: Sentence) -> bool:
    of_the_record = ("model", "diagnosis", "cuff", "glenoid", "dominant", "sex", "certainty", FIRST_SHOULDER)
    return any(sentence.says(word) for word in of_the_record)


def _people_link(sentence: Sentence, loss: Loss) -> str:
    """Nothing for a role that may not see patients."""
    arguments: dict[str, Any] = {**sentence.address()}
    return (
        url_for("staff.series_people", loss=loss.name, **arguments)
        if signed_in().role in CARE and can_be_listed(loss)
        else ""
    )


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
