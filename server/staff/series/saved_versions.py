"""A version of a saved series, as pages list it."""

from collections.abc import Mapping
from dataclasses import dataclass

from server.models import SeriesVersion
from server.staff.page import words
from server.staff.page.request_context import request_context
from server.staff.series.part import whom
from server.staff.series.saved_address import options_of, sentence_of
from server.staff.series.saved_head import DECLARED


@dataclass(frozen=True)
class VersionLine:
    """`whom`: the words that are chosen in its sentence; `choices`: what is chosen at its figures. `saved`: when and by whom."""

    number: int
    whom: str
    choices: str
    declared: str
    saved: str
    note: str
    sentences_before: int


def version_line(version: SeriesVersion, staff: Mapping[int, str]) -> VersionLine:
    moment = words.moment(version.saved_at, request_context().time_zone)
    return VersionLine(
        version.number,
        whom(sentence_of(version)) or words.gettext("Every first operation of the log."),
        ", ".join(f"{words.plain(name)}: {words.plain(code)}" for name, code in options_of(version).items()),
        words.say(DECLARED[version.declared]),
        words.at_and_by(moment, version.saved_by_id, staff),
        version.note or "",
        version.sentences_before,
    )
