"""What reminders use of the rest and may not import, handed in by whoever may: links, instruments and plans."""

import logging
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from datetime import date, datetime
from functools import cached_property
from pathlib import Path
from traceback import extract_tb
from typing import Protocol

from sqlalchemy.orm import Session

from scoring.library import Library
from server.models import Link, Patient, Timepoint
from server.models.wording import Wording
from server.schedule.plan import LadderStep, Plan
from server.timepoints.plans import plan_named

log = logging.getLogger("yearmark.reminders")


class PublishSheet(Protocol):
    def __call__(self, session: Session, patient: Patient, *, library: Library, now: datetime, today: date) -> bool: ...


class LiveLink(Protocol):
    def __call__(self, session: Session, patient: Patient, *, now: datetime) -> Link: ...


@dataclass(frozen=True)
class Links:
    """`publish_sheet`, `live_link` and `link_url` of server.links, in this order."""

    publish_sheet: PublishSheet
    live_link: LiveLink
    link_url: Callable[[str, str], str]


@dataclass(frozen=True)
class Outside:
    library: Library
    links: Links

    @cached_property
    def plans(self) -> Mapping[str, Plan]:
        """Every plan of the library by name, `standard@1`."""
        return {name: plan_named(name) for name in self.library.plans}

    def plan_of(self, timepoint: Timepoint) -> Plan:
        """The plan version that this timepoint was made by. Raises KeyError when the program has it no more."""
        return self.plans[f"{timepoint.follow_up.plan_id}@{timepoint.plan_version}"]

    def ladder_of(self, timepoint: Timepoint) -> tuple[LadderStep, ...]:
        """Empty when the program has the plan no more: such a ladder never ends."""
        plan = self.plans.get(f"{timepoint.follow_up.plan_id}@{timepoint.plan_version}")
        return plan.ladder if plan else ()

    def withheld(self, timepoint: Timepoint, wording: Wording, language: str) -> bool:
        """Whether its form is not on the due sheet of a patient of `language`, because a text may not be sent."""
        parts = self.plan_of(timepoint).entry(timepoint.code).parts
        return wording.withholds((part.instrument for part in parts), language)

    def stopped_texts(self, plan: str, code: str, wording: Wording, language: str) -> list[str]:
        """Ids, in order, of the texts for which that form is withheld. Raises KeyError for a plan or code that is none."""
        parts = self.plans[plan].entry(code).parts
        return sorted({text_id for part in parts for text_id in wording.stopped(part.instrument, language)})

    def publish(self, session: Session, patient: Patient, *, now: datetime, today: date) -> bool:
        return self.links.publish_sheet(session, patient, library=self.library, now=now, today=today)

    def open_link(self, session: Session, patient: Patient, base_url: str, *, now: datetime, today: date) -> str:
        """The address of the patient's live link, with what is due today behind it. Makes and publishes what is missing."""
        link = self.links.live_link(session, patient, now=now)
        self.publish(session, patient, now=now, today=today)
        if link.token is None:
            raise LookupError(f"the live link of patient {patient.id} has no token")
        return self.links.link_url(base_url, link.token)


def shortly(problem: BaseException) -> str:
    """Kind and place of a failure, never its text: that may hold a name, an address or an answer."""
    frames = extract_tb(problem.__traceback__)
    ours = [frame for frame in frames if "server" in Path(frame.filename).parts] or frames
    place = f" in {Path(ours[-1].filename).name} line {ours[-1].lineno}" if ours else ""
    return f"{type(problem).__name__}{place}"
