"""The follow-up plans of a clinic: those of the program and those it installed, read once for a session.

Rules:

1. A plan that the clinic installed under a name is what that name means there, also when the program ships one under it later.
2. An installed plan whose bytes are no longer those that were installed, or that this version of the program cannot read, is
   unusable: no follow-up starts with it.
3. A running follow-up whose plan is unusable keeps its rows as they are. None is made or moved, its forms are on no due sheet,
   nobody is reminded of them, and answers that come in are held until the plan is back. It can end.
"""

import hashlib
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache, lru_cache

from sqlalchemy import select
from sqlalchemy.orm import Session

from scoring.library import load_library
from scoring.strict_json import load_strict_json
from server.models import FollowUp, InstalledPlan, Timepoint
from server.schedule.plan import AfterSurgery, BeforeSurgery, Plan
from server.schedule.plan_parsing import parse_plan

ALTERED = "its bytes in the database are no longer those that were installed"
NOT_READ = "this version of the program cannot read it"
READ = "yearmark plans"
_INSTALLED = select(InstalledPlan.plan_id, InstalledPlan.version, InstalledPlan.content, InstalledPlan.sha256)


class PlanUnusable(LookupError):
    """There is no plan of this name that can be used; the message says why."""


@dataclass(frozen=True)
class Plans:
    """By name, such as `standard@1`. `unusable`: installed plans by rule 2, each with the reason."""

    usable: Mapping[str, Plan]
    unusable: Mapping[str, str]

    def named(self, name: str) -> Plan:
        """Raises PlanUnusable."""
        if name not in self.usable:
            raise PlanUnusable(
                f"the plan {name} cannot be used: {self.unusable.get(name, 'there is none of this name')}"
            )
        return self.usable[name]

    def find(self, row: FollowUp | Timepoint) -> Plan | None:
        """The plan version that this row was made by; None by rule 3."""
        return self.usable.get(_name_of(row))

    def of(self, row: FollowUp | Timepoint) -> Plan:
        """The same. Raises PlanUnusable."""
        return self.named(_name_of(row))

    def entry(self, timepoint: Timepoint) -> BeforeSurgery | AfterSurgery:
        """What the plan version of this row says about it: title, minutes, parts. Raises PlanUnusable."""
        return self.of(timepoint).entry(timepoint.code)


def _name_of(row: FollowUp | Timepoint) -> str:
    plan_id = row.plan_id if isinstance(row, FollowUp) else row.follow_up.plan_id
    return f"{plan_id}@{row.plan_version}"


def read_plans(session: Session) -> Plans:
    """One query for the first call of a session; a plan installed later in it is seen by the next session."""
    found = session.info.get(READ)
    if not isinstance(found, Plans):
        found = session.info[READ] = _read(session)
    return found


@cache
def shipped_plans() -> Mapping[str, Plan]:
    """Those that come with the program, the same for every clinic."""
    return {name: parse_plan(document) for name, document in load_library().plans.items()}


def trouble_with(row: InstalledPlan) -> str | None:
    """Why this plan is unusable, by rule 2; None when it can be used."""
    return _trouble(row.content, row.sha256, row.name)


def _read(session: Session) -> Plans:
    usable, unusable = dict(shipped_plans()), {}
    for plan_id, version, content, sha256 in session.execute(_INSTALLED):
        name = f"{plan_id}@{version}"
        why = _trouble(content, sha256, name)
        if why is None:
            usable[name] = _parsed(content)
        else:
            usable.pop(name, None)
            unusable[name] = why
    return Plans(usable, unusable)


def _trouble(content: str, sha256: bytes, name: str) -> str | None:
    if hashlib.sha256(content.encode("utf-8", "surrogatepass")).digest() != sha256:
        return ALTERED
    try:
        return None if _parsed(content).name == name else ALTERED
    except ValueError:
        return NOT_READ


@lru_cache(maxsize=256)
def _parsed(content: str) -> Plan:
    """By content, never by name: two clinics may have different plans under one name."""
    return parse_plan(load_strict_json(content))
