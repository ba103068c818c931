"""The follow-up plans: what is asked at each timepoint, in which window, and how people are reminded."""

from flask import render_template

from scoring.library import Library
from server.staff.here import here, runtime
from server.timepoints.plan_file import plan_table
from server.timepoints.plans import plan_named


def plans() -> str:
    library = runtime().library
    found = sorted(
        (plan_named(name) for name in library.plans), key=lambda plan: (plan.name != here().default_plan, plan.name)
    )
    return render_template(
        "staff/plans.html",
        calls={plan.name: [_item(library, name) for name in plan.phone_call] for plan in found},
        plans=[(plan, plan_table(plan, library)) for plan in found],
        default=here().default_plan,
    )


def _item(library: Library, name: str) -> str:
    """`pain@1/1` as "Pain, 0 to 10 (item 1)"."""
    spec, _, item = name.partition("/")
    return f"{library.instrument(spec).title} (item {item})"
