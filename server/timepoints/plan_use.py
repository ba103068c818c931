"""Which plans there are, who installed them, and how many follow-ups go by each."""

import json
from collections import Counter
from dataclasses import dataclass

from sqlalchemy import func, select
from sqlalchemy.orm import Session

from server.models import FollowUp, InstalledPlan
from server.queries.clock import the_clinic
from server.schedule.plan import Plan
from server.timepoints.plans import read_plans


@dataclass(frozen=True)
class PlanUse:
    """One plan. `plan` is None when it is unusable, `why` says why then. `installed` is None for one of the program's own.

    `running`: follow-ups that began with it and go on. `default`: new follow-ups start with it.
    """

    name: str
    plan: Plan | None
    why: str
    installed: InstalledPlan | None
    running: int
    default: bool


def plans_holding_ladders(session: Session) -> list[str]:
    """Installed plans that hold a reminder ladder, which is not read: how one reminds is a setting of the clinic."""
    return sorted(row.name for row in session.scalars(select(InstalledPlan)) if _holds_ladder(row.content))


def _holds_ladder(content: str) -> bool:
    try:
        document = json.loads(content)
    except ValueError:  # altered in the database; Today and Follow-up plans say so
        return False
    return isinstance(document, dict) and "ladder" in document


def list_plans(session: Session) -> list[PlanUse]:
    """The clinic's default first, then by name."""
    plans, default = read_plans(session), the_clinic(session).default_plan
    installed = {row.name: row for row in session.scalars(select(InstalledPlan))}
    running = running_by_plan(session)
    found = [
        PlanUse(
            name,
            plans.usable.get(name),
            plans.unusable.get(name, ""),
            installed.get(name),
            running[name],
            name == default,
        )
        for name in {*plans.usable, *plans.unusable}
    ]
    return sorted(found, key=lambda each: (not each.default, each.name))


def running_by_plan(session: Session) -> Counter[str]:
    """Follow-ups that have not ended, by the name of the plan they began with."""
    rows = select(FollowUp.plan_id, FollowUp.plan_version, func.count()).where(FollowUp.ended_on.is_(None))
    counted = session.execute(rows.group_by(FollowUp.plan_id, FollowUp.plan_version))
    return Counter({f"{plan_id}@{version}": count for plan_id, version, count in counted})
