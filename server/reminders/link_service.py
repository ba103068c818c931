"""The links and due sheets that reminders need. `server.links` may not be imported from here, so an edge hands its functions in."""

from collections.abc import Callable
from dataclasses import dataclass
from datetime import date, datetime
from typing import Protocol

from sqlalchemy.orm import Session

from scoring.library import Library
from server.models import Link, Patient


class PublishSheet(Protocol):
    def __call__(self, session: Session, patient: Patient, *, library: Library, now: datetime, today: date) -> bool: ...


class LiveLink(Protocol):
    def __call__(self, session: Session, patient: Patient, *, now: datetime) -> Link: ...


@dataclass(frozen=True)
class LinkFunctions:
    """`publish_sheet`, `live_link` and `link_url` of server.links, in this order."""

    publish_sheet: PublishSheet
    live_link: LiveLink
    link_url: Callable[[str, str], str]


@dataclass(frozen=True)
class LinkService:
    library: Library
    functions: LinkFunctions

    def publish(self, session: Session, patient: Patient, *, now: datetime, today: date) -> bool:
        """Publishes what is due today. True when the sheet changed."""
        return self.functions.publish_sheet(session, patient, library=self.library, now=now, today=today)

    def open_link(self, session: Session, patient: Patient, base_url: str, *, now: datetime, today: date) -> str:
        """The address of the patient's live link, with what is due today behind it. Makes and publishes what is missing."""
        link = self.functions.live_link(session, patient, now=now)
        self.publish(session, patient, now=now, today=today)
        if link.token is None:
            raise LookupError(f"the live link of patient {patient.id} has no token")
        return self.functions.link_url(base_url, link.token)
