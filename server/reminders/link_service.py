"""The links and due sheets that reminders need. `server.links` may not be imported from here, so an edge hands its functions in."""

from collections.abc import Callable, Collection
from dataclasses import dataclass
from datetime import date, datetime
from typing import Protocol

from sqlalchemy.orm import Session

from scoring.library import Library
from server.models import Link, Patient


class PublishSheets(Protocol):
    def __call__(
        self, session: Session, patients: Collection[Patient], *, library: Library, now: datetime, today: date
    ) -> int: ...


class LiveLink(Protocol):
    def __call__(self, session: Session, patient: Patient, *, now: datetime) -> Link: ...


@dataclass(frozen=True)
class LinkFunctions:
    """`publish_sheets`, `live_link` and `link_url` of server.links, in this order."""

    publish_sheets: PublishSheets
    live_link: LiveLink
    link_url: Callable[[str, str], str]


@dataclass(frozen=True)
class LinkService:
    library: Library
    functions: LinkFunctions

    def publish(self, session: Session, patients: Collection[Patient], *, now: datetime, today: date) -> int:
        """Publishes what these patients have due today; how many sheets changed."""
        return self.functions.publish_sheets(session, patients, library=self.library, now=now, today=today)

    def open_link(self, session: Session, patient: Patient, base_url: str, *, now: datetime, today: date) -> str:
        """The address of the patient's live link, with what is due today behind it. Makes and publishes what is missing."""
        link = self.functions.live_link(session, patient, now=now)
        self.publish(session, [patient], now=now, today=today)
        if link.token is None:
            raise LookupError(f"the live link of patient {patient.id} has no token")
        return self.functions.link_url(base_url, link.token)
