"""The follow-up plans: what is asked when, who installed them, and which one new follow-ups start with."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from flask import Response, make_response, redirect, render_template, request, url_for
from werkzeug.wrappers import Response as AnyResponse

from scoring.library import Library
from server.clinic.settings import make_default
from server.models import InstalledPlan
from server.queries.texts_in_force import Wording, read_wording
from server.schedule.plan import Plan
from server.staff.page import words
from server.staff.page.database import reading, writing
from server.staff.page.request_context import request_context, runtime, signed_in
from server.staff.page.staff_names import staff_names
from server.staff.page.unusable_plans import unusable_plans
from server.timepoints.plan_install import PlanRefused, cannot_be_sent, to_be_decided
from server.timepoints.plan_table import PlanLine, plan_table
from server.timepoints.plan_use import PlanUse, list_plans


@dataclass(frozen=True)
class ShownPlan:
    """`stopped`: why it cannot start follow-ups now. `undecided`: descriptive texts of it that wait for a decision."""

    use: PlanUse
    plan: Plan
    lines: list[PlanLine]
    calls: list[str]
    stopped: list[str]
    undecided: list[str]


def plans() -> str:
    return plans_page()


def plans_page(*, file: Sequence[str] = (), default: Sequence[str] = ()) -> str:
    """The plans, with what was wrong with a file or with a choice."""
    with reading() as session:
        wording, found = read_wording(session, runtime().library), list_plans(session)
        return render_template(
            "staff/library/plans.html",
            plans=[_shown(each, each.plan, wording) for each in found if each.plan],
            unusable=unusable_plans(session),
            wrong_file=file,
            wrong_default=default,
            came=_came(found, staff_names(session)),
        )


def choose_default() -> AnyResponse:
    """New follow-ups start with the chosen plan; when it cannot be, nothing is changed and the page says why."""
    try:
        with writing() as session:
            name = request.form.get("plan", "")
            make_default(session, runtime().library, name, now=request_context().now, by_id=signed_in().id)
    except PlanRefused as problem:
        return make_response(plans_page(default=[f"{problem}."]), 422)
    return redirect(url_for("staff.plans", done="plan-default"))


def wrong_file(problem: Exception) -> Response:
    return make_response(plans_page(file=[f"{problem}."]), 422)


def calls_of(plan: Plan, library: Library) -> list[str]:
    """`pain@1/1` as "Pain, 0 to 10 (item 1)"."""
    split = (name.partition("/") for name in plan.phone_call)
    said = words.gettext("%(instrument)s (item %(item)s)")
    return [said % {"instrument": library.instrument(spec).title, "item": item} for spec, _, item in split]


def _shown(use: PlanUse, plan: Plan, wording: Wording) -> ShownPlan:
    library = wording.library
    lines, calls = plan_table(plan, library), calls_of(plan, library)
    return ShownPlan(use, plan, lines, calls, cannot_be_sent(plan, wording), to_be_decided(plan, wording))


def _came(plans: list[PlanUse], staff: Mapping[int, str]) -> dict[str, str]:
    """When each installed plan came and by whom, by name."""

    def said(row: InstalledPlan) -> str:
        at = words.moment(row.installed_at, request_context().time_zone)
        return words.at_and_by(at, row.installed_by_id, staff)

    return {each.name: said(each.installed) for each in plans if each.installed}
