"""What a page of the series was asked for: whom the sentence of its address means, and which figure is chosen how."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from flask import request
from sqlalchemy.orm import Session

from server.fields.searched_years import read_years
from server.outcomes.series.flow import Flow, flow_of
from server.outcomes.series.followed import Followings
from server.outcomes.series.followings import read_followings
from server.outcomes.series.row import Record
from server.outcomes.series.rows import read_record
from server.outcomes.series.sentence import Sentence, sentence_in
from server.outcomes.series.strip import Strip, strip_of
from server.queries.clock import the_clinic
from server.staff.page.request_context import request_context

# What an address may choose at a figure, beside the sentence: each figure says which words it knows. `end` is the endpoint of implant
# survival; `endpoint` itself is a word that url_for keeps for the page.
OPTIONS = ("end", "reason", "function", "window", "by")


@dataclass(frozen=True)
class Asked:
    """`unread`: what in the address is no year or age. `session` reads only, and is gone once the page is made."""

    session: Session
    record: Record
    followings: Followings
    sentence: Sentence
    flow: Flow
    strip: Strip
    options: Mapping[str, str]
    unread: tuple[str, ...] = ()

    def address(self, **changed: str) -> dict[str, Any]:
        """The arguments of this address for url_for, with these options instead."""
        return {**self.sentence.address(), **self.options, **changed}


def read_asked(session: Session, *, texts: bool = False) -> Asked:
    """By the address of the request. `texts`: also whose words forms were asked in, where the sentence does not ask for it."""
    sentence, unread = sentence_in(request.args.to_dict(flat=False))
    record = read_record(session, request_context().today, texts=texts or sentence.says("text"))
    options = {name: given for name in OPTIONS if (given := request.args.get(name, "").strip())}
    searched = read_years(the_clinic(session).searched_years or "")
    followings = read_followings(session, record, searched=searched)
    flow = flow_of(record, sentence)
    strip = strip_of(followings, flow.rows_at("meant"), sentence)
    return Asked(session, record, followings, sentence, flow, strip, options, tuple(unread))
