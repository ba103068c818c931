"""The shipped follow-up plans, parsed once."""

from functools import cache

from scoring.library import load_library
from server.models import FollowUp, Timepoint
from server.schedule.parsing import parse_plan
from server.schedule.plan import AfterSurgery, BeforeSurgery, Plan


@cache
def plan_named(name: str) -> Plan:
    """The plan `standard@1`. KeyError when no such version is shipped; a published version is never taken away."""
    return parse_plan(load_library().plans[name])


def plan_of(follow_up: FollowUp) -> Plan:
    return plan_named(f"{follow_up.plan_id}@{follow_up.plan_version}")


def entry_of(timepoint: Timepoint) -> BeforeSurgery | AfterSurgery:
    """What the plan version of this row says about it: title, minutes, parts."""
    return plan_named(f"{timepoint.follow_up.plan_id}@{timepoint.plan_version}").entry(timepoint.code)
