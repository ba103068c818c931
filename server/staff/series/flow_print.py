"""The flow of a series on paper: the figure of the page, at the width of a journal's column or of a slide, as PDF or PNG."""

from datetime import UTC, datetime, time
from typing import get_args

from flask import Response, abort, make_response, request

from server.outcomes.figures.flow import FlowFigure
from server.outcomes.figures.flow_drawing import draw_flow
from server.outcomes.figures.print import PRINT_WIDTHS, Kind, Sheet, print_sheet
from server.outcomes.series.flow import Flow, flow_of
from server.outcomes.series.row import people
from server.outcomes.series.rows import read_record
from server.outcomes.series.sentence import WORDS, Sentence, sentence_in
from server.staff.page import words
from server.staff.page.database import reading
from server.staff.page.request_context import request_context
from server.staff.series.flow_words import figure_of, people_words, shoulders_words
from server.staff.series.sentence_words import WORDS as SAID
from server.staff.series.sentence_words import said

TYPES: dict[Kind, str] = {"pdf": "application/pdf", "png": "image/png"}


def flow_print(width: str, kind: Kind) -> Response:
    """Under the sentence that the address holds. Nothing is printed where the page draws nothing."""
    sentence, _unread = sentence_in(request.args.to_dict(flat=False))
    if width not in PRINT_WIDTHS or kind not in get_args(Kind):
        abort(404)
    with reading() as session:
        record = read_record(session, request_context().today, texts=sentence.says("text"))
    flow = flow_of(record, sentence)
    if not record.rows or flow.failed_sums():
        abort(404)
    figure = figure_of(flow, lambda _loss: "")
    sheet = Sheet(figure.title, draw_flow(figure, PRINT_WIDTHS[width]), _foot(flow, figure, sentence))
    # The day of the record and not the hour of the print: the same record gives the same file.
    response = make_response(print_sheet(sheet, kind, datetime.combine(flow.as_of, time(), UTC)))
    response.mimetype = TYPES[kind]
    response.headers["Content-Disposition"] = f'attachment; filename="flow-{flow.as_of}-{width}.{kind}"'
    return response


def _foot(flow: Flow, figure: FlowFigure, sentence: Sentence) -> str:
    """The sum, how many, as of when, and whom the sentence means by the words that are chosen in it."""
    analysed = flow.rows_at("answered")
    counts = words.gettext("%(sum)s. n = %(shoulders)s, %(people)s. As of %(day)s.") % {
        "sum": figure.sum,
        "shoulders": shoulders_words(len(analysed)),
        "people": people_words(people(analysed)),
        "day": words.day(flow.as_of),
    }
    chosen = [f"{words.say(SAID[word].title)}: {said(sentence, word)}." for word in WORDS if sentence.says(word)]
    return " ".join([counts, *chosen])
