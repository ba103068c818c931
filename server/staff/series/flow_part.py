"""The flow from every operation in the log to those with an answer, as a part of the series page."""

from functools import partial

from flask import url_for

from server.outcomes.figures.flow_drawing import draw_flow
from server.outcomes.series.flow import Flow, Loss, people_at
from server.outcomes.series.row import people
from server.staff.page import words
from server.staff.page.request_context import signed_in
from server.staff.page.route import CARE
from server.staff.series.asked import Asked
from server.staff.series.flow_words import can_be_listed, failed_sums, figure_of, lines_of
from server.staff.series.part import Part, Table


def flow_part(asked: Asked) -> Part:
    """Each loss with its reason, and by role the people behind it."""
    flow, link = asked.flow, partial(_people_link, asked)
    figure = figure_of(flow, link)
    answered = flow.rows_at("answered")
    lead = [
        words.gettext(
            "Each operation of the log stands here once. What falls off is counted at its place, with its reason."
        )
    ]
    if signed_in().role in CARE:
        lead.append(words.gettext("The number of a loss opens the list of people behind it."))
    return Part(
        "flow",
        figure.title,
        " ".join(lead),
        partial(draw_flow, figure) if flow.rows_at("log") else None,
        len(answered),
        people(answered),
        _table(flow),
        failed=tuple(failed_sums(flow)),
        counts=f"{figure.sum}.",
        template="staff/series/flow_table.html",
        values={
            "lines": lines_of(flow, link),
            "title": figure.title,
        },
    )


def _people_link(asked: Asked, loss: Loss) -> str:
    """Nothing for a role that may not see patients."""
    if signed_in().role not in CARE or not can_be_listed(loss):
        return ""
    return url_for("staff.series_people", loss=loss.name, **asked.address())


def _table(flow: Flow) -> Table:
    """A row for each step and loss; `left` is what the step has, or what the loss takes."""
    rows: list[tuple[str, str, int, int]] = []
    for step in flow.steps:
        rows += [("loss", loss.name, len(loss.rows), people_at(loss)) for loss in flow.losses if loss.step == step.name]
        rows.append(("step", step.name, len(step.rows), people_at(step)))
    return Table(("row_kind", "name", "operations", "people"), tuple(rows))
