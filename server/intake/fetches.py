"""When phones fetched what they worked on: no form of a due sheet can have been finished before."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime

from sqlalchemy import select
from sqlalchemy.orm import Session

from server.intake.open import OpenedForm
from server.models import GateFetch


@dataclass(frozen=True)
class Fetches:
    """First fetches, by link and revision, and by link."""

    of_revision: Mapping[tuple[bytes, int], datetime]
    of_link: Mapping[bytes, datetime]

    def earliest(self, opened: OpenedForm) -> datetime:
        """The instant before which this form cannot have been finished.

        A phone that names a revision nobody fetched may have invented it, so its link's first fetch holds, or the link's making.
        """
        lookup_hash, revision = opened.envelope.lookup_hash, opened.payload.sheet_revision
        return self.of_revision.get((lookup_hash, revision)) or self.first(opened)

    def first(self, opened: OpenedForm) -> datetime:
        """When its phone can first have seen anything."""
        return self.of_link.get(opened.envelope.lookup_hash) or opened.sender.link.made_at


def read_fetches(session: Session, opened: Sequence[OpenedForm]) -> Fetches:
    """Of all links that sealed these; one statement."""
    wanted = select(GateFetch).where(GateFetch.lookup_hash.in_({each.envelope.lookup_hash for each in opened}))
    of_revision: dict[tuple[bytes, int], datetime] = {}
    of_link: dict[bytes, datetime] = {}
    for row in session.scalars(wanted):
        of_revision[row.lookup_hash, row.revision] = row.fetched_at
        of_link[row.lookup_hash] = min(row.fetched_at, of_link.get(row.lookup_hash, row.fetched_at))
    return Fetches(of_revision, of_link)
