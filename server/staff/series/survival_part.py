"""How long the implants last, as a part of the series page: the figure, why the watch ended, from when on, and other readings."""

from collections import Counter
from collections.abc import Iterable
from dataclasses import dataclass
from functools import partial

from flask import url_for

from server.fields.operation_words import REASONS
from server.outcomes.figures.survival_drawing import draw_survival
from server.outcomes.series.endpoints import ENDPOINTS, OF_REASON, Endpoint, endpoint_in, revises
from server.outcomes.series.followed import Followed
from server.outcomes.series.row import Row
from server.outcomes.series.survival import Drawn, Survival, sensitivities, survival_of
from server.outcomes.series.watch import DIED_BEFORE, REVISED_BEFORE
from server.queries.clock import the_clinic
from server.staff.page import words
from server.staff.page.request_context import signed_in
from server.staff.page.route import CARE
from server.staff.series import survival_words
from server.staff.series.asked import Asked
from server.staff.series.deaths_words import deaths_said
from server.staff.series.part import Cell, Part, Table
from server.staff.series.survival_figure import survival_figure

COLUMNS = (
    "row_kind", "name", "years", "watched", "entered", "events", "other_revisions", "died", "left", "share_if_nobody_died",
    "lower_if_nobody_died", "upper_if_nobody_died", "share_as_it_was", "lower_as_it_was", "upper_as_it_was", "share_died",
)  # fmt: skip


@dataclass(frozen=True)
class Listed:
    row: Row
    why: str


@dataclass(frozen=True)
class Choice:
    text: str
    href: str
    chosen: bool


def survival_part(asked: Asked) -> Part:
    """Of the shoulders that the sentence means and that take part, for the endpoint of the address."""
    endpoint, unread = endpoint_in(asked.options)
    rows = asked.flow.rows_at("taking_part")
    of = asked.followings.of
    followed = [of[row.operation_id] for row in rows if row.operation_id is not None]
    found = survival_of(followed, endpoint, asked.record.as_of)
    title = words.gettext("How long do the implants last?")
    drawn = found.drawn
    searched = the_clinic(asked.session).searched_years or ""
    return Part(
        "survival",
        title,
        words.gettext("The same implants and what became of them, asked two ways. What counts: %(endpoint)s.")
        % {"endpoint": survival_words.endpoint_name(endpoint)},
        None if drawn is None else partial(draw_survival, survival_figure(found, drawn, title)),
        len(found.watched),
        found.people,
        _table(found),
        failed=tuple(survival_words.failed_sum(*each) for each in found.failed_sums()),
        counts=_counts(found, len(asked.flow.rows_at("meant"))),
        template="staff/series/survival.html",
        values={
            "unread": unread,
            "endpoints": [_choice(asked, endpoint, name) for name in ENDPOINTS if name != OF_REASON],
            "reasons": _reasons(asked, followed, endpoint),
            "ended": _ended(found),
            "listed": _listed(found) if signed_in().role in CARE else [],
            "began": f"{survival_words.watched_from(found, searched)} {survival_words.follow_up(found)}".rstrip(),
            "reads": survival_words.curve_reads(found),
            "deaths": deaths_said(asked.session, followed, asked.record.as_of),
            "readings": _readings(found, drawn),
            "answered_at": "" if drawn is None else survival_words.years(drawn.answered_at),
        },
    )


def _ended(found: Survival) -> str:
    said = (survival_words.ends, survival_words.apart, survival_words.rate, survival_words.fractures)
    return " ".join(filter(None, (each(found) for each in said)))


def _listed(found: Survival) -> list[Listed]:
    """Whom the curves leave out though something happened: revised or dead before the watch began, or said to be operated on again."""
    apart = [(each.followed, each.reason) for each in found.apart if each.reason in (REVISED_BEFORE, DIED_BEFORE)]
    said = [(each.followed, each.end) for each in found.watched if each.end == "said_operated"]
    return [
        Listed(followed.row, words.say({**survival_words.APART, **survival_words.ENDED}[why]))
        for followed, why in (*apart, *said)
    ]


def _choice(asked: Asked, endpoint: Endpoint, name: str) -> Choice:
    return Choice(
        survival_words.endpoint_name(Endpoint(name)),
        url_for("staff.series", **asked.address(end=name, reason=None), _anchor="survival"),
        endpoint.name == name,
    )


def _reasons(asked: Asked, followed: Iterable[Followed], endpoint: Endpoint) -> list[Choice]:
    """The primary reasons for which there was a first revision, the most frequent first, with how many of each."""
    counts: Counter[str] = Counter()
    for each in followed:
        first = next((one for place, one in enumerate(each.later) if revises(one, each.later[:place])), None)
        if first is not None and first.reason in REASONS:
            counts[first.reason] += 1
    if endpoint.reason:
        counts[endpoint.reason] += 0
    return [
        Choice(
            f"{words.say(REASONS[reason])} {count}",
            url_for("staff.series", **asked.address(end=OF_REASON, reason=reason), _anchor="survival"),
            endpoint.reason == reason,
        )
        for reason, count in counts.most_common()
    ]


def _counts(found: Survival, meant: int) -> str:
    """What stands before the n of the foot."""
    limits = (
        words.gettext("Limits log-log, by patient.")
        if found.by_person
        else words.gettext("Limits log-log; nobody counts twice.")
    )
    return words.gettext(
        "Implant known to an event, to death or within the last two years: %(known)s of %(watched)s watched, of %(meant)s meant."
        " What counts: %(endpoint)s."
    ) % {
        "known": found.known,
        "watched": len(found.watched),
        "meant": meant,
        "endpoint": survival_words.endpoint_name(found.endpoint),
    } + (f" {limits}" if found.drawn is not None and found.drawn.limits else "")


def _readings(found: Survival, drawn: Drawn | None) -> list[tuple[str, int, int, str]]:
    """The record read in other ways, each with its watched, its events and the share at the year of the answer."""
    if drawn is None:
        return []
    main = (words.gettext("as in the figure"), len(found.watched), found.ended("event"))
    at = drawn.nobody_died.at(drawn.answered_at).share
    others = [
        (
            words.say(survival_words.READINGS[each.name]),
            each.watched,
            each.events,
            words.gettext("too few") if each.share is None else f"{survival_words.per_cent(each.share)} %",
        )
        for each in sensitivities(found)
    ]
    return [(*main, f"{survival_words.per_cent(at)} %"), *others]


def _table(found: Survival) -> Table:
    """A row for each time that stands under the figure, for each step of a curve, and for each end and each reason not to be watched."""
    drawn = found.drawn
    rows: list[tuple[Cell, ...]] = []
    if drawn is not None:
        for at in found.standings():
            counts = (at.watched, at.entered, at.events, at.other_revisions, at.died, at.left)
            rows.append(("time", None, round(at.time, 4), *counts, *_shares(drawn, at.time)))
        times = {point.time for curve in (drawn.nobody_died, drawn.as_it_was) for point in curve.points}
        rows += [("step", None, round(time, 4), *[None] * 6, *_shares(drawn, time)) for time in sorted(times)]
    empty = [None] * (len(COLUMNS) - 4)
    rows += [("end", end, None, found.ended(end), *empty) for end in ("event", *survival_words.ENDED)]
    rows += [("not_watched", reason, None, found.set_apart(reason), *empty) for reason in survival_words.APART]
    return Table(COLUMNS, tuple(rows))


def _shares(drawn: Drawn, time: float) -> tuple[Cell, ...]:
    first, second = drawn.nobody_died.at(time), drawn.as_it_was.at(time)
    died = max(level for at, level in drawn.deaths if at <= time)
    cells = (*first[1:], *second[1:], died)
    return tuple(None if cell is None else round(cell, 6) for cell in cells)
