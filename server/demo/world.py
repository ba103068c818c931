"""The invented clinic while it is being played: one session, one queue of things to do, in the order of their instants."""

import heapq
from collections.abc import Callable
from dataclasses import dataclass, field
from datetime import date, datetime, time
from random import Random

from sqlalchemy.orm import Session

from server.installation.runtime import Runtime
from server.links.make import link_url, live_link
from server.links.publish import publish_sheet
from server.models import Clinic
from server.queries.clock import clinic_day
from server.reminders.channels.contract import Notice
from server.reminders.outside import Links, Outside
from server.schedule.dates import local_instant
from server.schedule.plan import Plan
from server.timepoints.plans import read_plans

LINKS = Links(publish_sheet, live_link, link_url)
RECENT_DAYS = 28  # letters of these days lie in the mailbox


@dataclass
class World:
    """`until`: the instant at which the story stands still and the visitor comes in."""

    runtime: Runtime
    session: Session
    clinic: Clinic
    until: datetime
    nurse_id: int
    surgeon_id: int
    outside: Outside
    plan: Plan
    letters: list[Notice] = field(default_factory=list)
    told: Callable[[datetime], None] = lambda _at: None
    _queue: list[tuple[datetime, int, Callable[[datetime], None]]] = field(default_factory=list)
    _count: int = 0

    @property
    def today(self) -> date:
        return self.day(self.until)

    def day(self, at: datetime) -> date:
        return clinic_day(self.clinic, at)

    def at(self, day: date, hour: int, minute: int = 0) -> datetime:
        """The instant at which the clinic's clocks show this time."""
        return local_instant(day, time(hour, minute), self.clinic.time_zone)

    def office_time(self, day: date, random: Random) -> datetime:
        return self.at(day, random.randint(9, 15), random.randint(0, 59))

    def plan_act(self, at: datetime, act: Callable[[datetime], None]) -> None:
        """Puts an act into the queue; what lies after `until` never happens."""
        if at <= self.until:
            self._count += 1
            heapq.heappush(self._queue, (at, self._count, act))

    def play(self) -> None:
        while self._queue:
            at, _, act = heapq.heappop(self._queue)
            act(at)
            self.told(at)


def make_world(
    runtime: Runtime, session: Session, clinic: Clinic, *, until: datetime, nurse_id: int, surgeon_id: int
) -> World:
    return World(
        runtime=runtime,
        session=session,
        clinic=clinic,
        until=until,
        nurse_id=nurse_id,
        surgeon_id=surgeon_id,
        outside=Outside(runtime.library, LINKS),
        plan=read_plans(session).named(clinic.default_plan),
    )
