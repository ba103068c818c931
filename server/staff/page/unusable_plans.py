"""What staff are told when an installed plan cannot be used."""

from dataclasses import dataclass

from sqlalchemy.orm import Session

from server.queries.clock import the_clinic
from server.staff.page import words
from server.timepoints.plan_use import running_by_plan
from server.timepoints.plans import PlanUnusable, read_plans


@dataclass(frozen=True)
class Unusable:
    """`running`: how many follow-ups that began with it go on."""

    name: str
    why: str
    running: int


def unusable_plans(session: Session) -> list[Unusable]:
    """All of them, by name."""
    found = read_plans(session).unusable
    running = running_by_plan(session) if found else {}
    return [Unusable(name, why, running.get(name, 0)) for name, why in sorted(found.items())]


def unusable_in_use(session: Session) -> list[Unusable]:
    """Those that something waits for: new follow-ups start with it, or running ones go by it."""
    default = the_clinic(session).default_plan
    return [each for each in unusable_plans(session) if each.running or each.name == default]


def no_new_follow_up(problem: PlanUnusable) -> str:
    said = words.gettext(
        "No follow-up can start: %(why)s. A data manager chooses another plan under Follow-up plans; then save this again."
    )
    return said % {"why": str(problem)}
