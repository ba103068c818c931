"""The follow-up plans: what is asked at each timepoint, in which window, and how people are reminded."""

from flask import render_template

from server.staff.here import here, runtime
from server.timepoints.plan_file import plan_table
from server.timepoints.plans import plan_named


def plans() -> str:
    library = runtime().library
    found = sorted(
        (plan_named(name) for name in library.plans), key=lambda plan: (plan.name != here().default_plan, plan.name)
    )
    return render_template(
        "staff/plans.html", plans=[(plan, plan_table(plan, library)) for plan in found], default=here().default_plan
    )
