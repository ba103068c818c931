"""What a page of the series was asked for: whom the sentence of its address means, and which figure is chosen how."""

from collections.abc import Collection, Mapping
from dataclasses import dataclass, replace
from functools import cached_property
from typing import Any

from flask import request
from sqlalchemy.orm import Session

from scoring.library import load_library
from server.fields.operation_words import IMPLANT_TYPES, REASONS
from server.fields.searched_years import read_years
from server.outcomes.series.course import BEFORE, RECALLED
from server.outcomes.series.endpoints import ENDPOINTS
from server.outcomes.series.flow import Flow, flow_of
from server.outcomes.series.followed import Followings
from server.outcomes.series.followings import read_followings
from server.outcomes.series.grouping import BY
from server.outcomes.series.row import Record
from server.outcomes.series.rows import read_record
from server.outcomes.series.sentence import Sentence, sentence_in
from server.outcomes.series.strip import YEARS, Strip, strip_of, wanted_answer
from server.queries.clock import the_clinic
from server.staff.page.request_context import request_context

# What an address may choose at a figure, beside the sentence: each figure says which words it knows. `end` is the endpoint of implant
# survival; `endpoint` itself is a word that url_for keeps for the page.
OPTIONS = ("end", "reason", "function", "mixed", "window", "by", "pair", "silence")
_YEARS = frozenset(map(str, YEARS))
# The codes that each may have; `function` is an instrument of the library.
_CODES: Mapping[str, Collection[str]] = {
    "end": ENDPOINTS,
    "reason": REASONS,
    "mixed": ("yes",),
    "window": _YEARS,
    "by": BY,
    "pair": frozenset(f"{first}.{second}" for first in IMPLANT_TYPES for second in IMPLANT_TYPES),
    "silence": _YEARS,
}
LONGEST = 60  # of what is told back that is no code; every code is shorter
SAVED = ("series", "version")  # the saved series, and which version of it, that an address was opened as


@dataclass(frozen=True)
class Address:
    """What an address says, before anything is read. `unread`: what in it is no year or age.

    `options`: as they were given, also what is no code, which the figures tell. `saved`: the numbers of the saved series and of its
    version that it names, as text.
    """

    sentence: Sentence
    options: Mapping[str, str]
    unread: tuple[str, ...]
    saved: Mapping[str, str]

    @property
    def chosen(self) -> Mapping[str, str]:
        """The options that are codes. What is none goes into no link and is saved with no series."""
        return {name: code for name, code in self.options.items() if code in _codes(name)}

    @property
    def kept(self) -> Mapping[str, str]:
        """What an address holds beside the sentence."""
        return {**self.chosen, **{name: number for name, number in self.saved.items() if _is_number(number)}}

    def address(self, **changed: str | None) -> dict[str, Any]:
        """The arguments of this address for url_for, with these options instead, or without where one is None."""
        return {**self.sentence.address(), **self.kept, **changed}


@dataclass(frozen=True)
class Asked(Address):
    """An address with all that its figures read. `session` reads only, and is gone once the page is made.

    `strip`: at each year what became of all whom the sentence means.
    """

    session: Session
    record: Record
    followings: Followings
    flow: Flow
    strip: Strip

    @property
    def address_alone(self) -> Address:
        """For templates: what they are given stands in a circle, and everything read would stay in memory until the collector comes."""
        return Address(self.sentence, self.options, self.unread, self.saved)

    @cached_property
    def texts(self) -> frozenset[str]:
        """In whose words those answers after surgery were asked that the sentence wants. Kept, as it stands under every figure."""
        followed = (self.followings.of.get(row.operation_id or 0) for row in self.flow.rows_at("answered"))
        points = (
            point
            for each in followed
            for code, point in (each.points.items() if each else ())
            if code not in (BEFORE, RECALLED)
        )
        answers = (wanted_answer(point, self.sentence) for point in points)
        return frozenset().union(*{answer.texts for answer in answers if answer is not None})

    def of_all_answers(self) -> "Asked":
        """The same shoulders with every answer of theirs. No address is made of it, since that would forget the words on answers."""
        if not self.sentence.picks_answers:
            return self
        sentence = self.sentence.of_all_answers()
        flow = flow_of(self.record, sentence)
        strip = strip_of(self.followings, flow.rows_at("meant"), sentence)
        return replace(self, sentence=sentence, flow=flow, strip=strip)


def read_address() -> Address:
    sentence, unread = sentence_in(request.args.to_dict(flat=False))
    return Address(sentence, _given(OPTIONS), tuple(unread), _given(SAVED))


def record_of(session: Session, said: Address, *, texts: bool = False) -> Record:
    """`texts`: also whose words forms were asked in, where the sentence does not ask for it."""
    return read_record(session, request_context().today, texts=texts or said.sentence.says("text"))


def read_asked(session: Session, *, texts: bool = False) -> Asked:
    """By the address of the request."""
    said = read_address()
    record = record_of(session, said, texts=texts)
    searched = read_years(the_clinic(session).searched_years or "")
    followings = read_followings(session, record, searched=searched)
    flow = flow_of(record, said.sentence)
    strip = strip_of(followings, flow.rows_at("meant"), said.sentence)
    return Asked(said.sentence, said.options, said.unread, said.saved, session, record, followings, flow, strip)


def _given(names: tuple[str, ...]) -> dict[str, str]:
    return {name: given for name in names if (given := request.args.get(name, "").strip()[:LONGEST])}


def _codes(option: str) -> Collection[str]:
    return load_library().definitions if option == "function" else _CODES[option]


def _is_number(text: str) -> bool:
    return text.isascii() and text.isdigit() and len(text) < 9
