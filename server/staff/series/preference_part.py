"""Which of two shoulders people prefer who have both, as a part of the series page."""

from collections.abc import Iterator
from dataclasses import dataclass
from functools import partial

from flask import url_for

from server.outcomes.figures.fade import SHOWN_FROM
from server.outcomes.figures.preference_drawing import draw_preference
from server.outcomes.series.preference import ANSWERS, DRAWN, Pair, Preference, both_shoulders, preference_of
from server.outcomes.series.preference_answers import read_preferences
from server.staff.page import words
from server.staff.page.request_context import runtime
from server.staff.series.asked import Asked
from server.staff.series.part import Cell, Part, Table
from server.staff.series.preference_words import care, counts, failed_sums, figure_of, nobody, pair_words, says

COLUMNS = (
    "row_kind", "first_type", "second_type", "answer", "people", "share_second", "lower", "upper", "p", "first_side", "first_rating",
    "second_rating",
)  # fmt: skip


@dataclass(frozen=True)
class Choice:
    text: str
    count: int
    href: str
    chosen: bool


def preference_part(asked: Asked) -> Part:
    """Of the people whom the sentence means on both sides, with the pair of types that the address names or else the most frequent."""
    of = asked.followings.of
    people = both_shoulders(
        each for row in asked.flow.rows_at("taking_part") if (each := of.get(row.operation_id or 0)) is not None
    )
    as_of = asked.record.as_of
    patients = [each.patient_id for each in people]
    told = read_preferences(asked.session, runtime().keys.patient_cipher, patients, as_of, asked.sentence)
    found = preference_of(people, told, asked.sentence, as_of)
    wanted = asked.options.get("pair", "")
    pair = next((each for each in found.pairs if name_of(each) == wanted), next(iter(found.pairs), None))
    title = words.gettext("With one of each, which shoulder do people prefer?")
    return Part(
        "preference",
        title,
        words.gettext(
            "Every line is a person: own rating of one shoulder and of the other, latest answers, at least a year after each;"
            " dashed where the second is lower."
        ),
        partial(draw_preference, figure_of(pair, title)) if pair is not None and pair.count(*DRAWN) > 1 else None,
        0 if pair is None else 2 * len(pair.people),
        0 if pair is None else len(pair.people),
        Table(COLUMNS, tuple(row for each in found.pairs for row in table_rows(each))),
        failed=tuple(failed_sums(found)),
        says=(nobody(found),) if pair is None else tuple(says(pair)),
        care=() if pair is None else tuple(care(found, pair)),
        counts="" if pair is None else counts(pair),
        template="staff/series/preference.html",
        values={
            "unread": wanted if wanted and (pair is None or name_of(pair) != wanted) else "",
            "pairs": _choices(asked, found, pair),
        },
    )


def name_of(pair: Pair) -> str:
    return ".".join(pair.types)


def _choices(asked: Asked, found: Preference, chosen: Pair | None) -> list[Choice]:
    return [
        Choice(
            pair_words(each),
            len(each.people),
            url_for("staff.series", **asked.address(pair=name_of(each)), _anchor="preference"),
            each is chosen,
        )
        for each in found.pairs
    ]


def table_rows(pair: Pair) -> Iterator[tuple[Cell, ...]]:
    """A row for each answer, for the share and for the order of the operations; from ten lines on also one for each line of the figure.

    Of fewer the file has no line: it leaves the page, and a row of a few is soon the row of somebody.
    """
    for answer in ANSWERS:
        yield "answer", *pair.types, answer, pair.count(answer), *[None] * 7
    share = pair.share
    if share is not None:
        yield "share", *pair.types, None, pair.with_preference, *share, pair.p, *[None] * 3
    later, of = pair.prefer_the_later
    yield "order", *pair.types, "one_was_later", of, *[None] * 7
    yield "order", *pair.types, "prefers_the_later", later, *[None] * 7
    if len(pair.rated) < SHOWN_FROM:
        return
    lines = [each for each in pair.of(*DRAWN) if each.ratings is not None]
    for each in sorted(lines, key=lambda one: (ANSWERS.index(one.answer), one.ratings, one.first.row.side)):
        yield "line", *pair.types, each.answer, 1, *[None] * 4, each.first.row.side, *(each.ratings or ())
