"""When phones fetched what they worked on: no form of a due sheet can have been finished before.

What they fetched between a copy and the restore of it is not known here. So the first fetch after a restore is no first one, except of a
revision that was published after it; the phone may have fetched as soon as the copy was made.
"""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime

from sqlalchemy import select
from sqlalchemy.orm import Session

from server.intake.open import OpenedForm
from server.models import GateFetch, Restoration
from server.queries.restored import first_revision, restorations


@dataclass(frozen=True)
class Fetches:
    """When they can first have been fetched, by link and revision, and by link."""

    of_revision: Mapping[tuple[bytes, int], datetime]
    of_link: Mapping[bytes, datetime]

    def earliest(self, opened: OpenedForm) -> datetime:
        """The instant before which this form cannot have been finished.

        A phone that names a revision nobody fetched may have invented it, or fetched it before a restore, so its link's first fetch holds,
        or the link's making.
        """
        found = self.of_revision.get((opened.envelope.lookup_hash, opened.payload.sheet_revision))
        return self.first(opened) if found is None else max(found, opened.sender.link.made_at)

    def first(self, opened: OpenedForm) -> datetime:
        """When its phone can first have seen anything."""
        made_at = opened.sender.link.made_at
        return max(made_at, self.of_link.get(opened.envelope.lookup_hash, made_at))


def read_fetches(session: Session, opened: Sequence[OpenedForm]) -> Fetches:
    """Of all links that sealed these; two statements."""
    wanted = select(GateFetch).where(GateFetch.lookup_hash.in_({each.envelope.lookup_hash for each in opened}))
    restored = restorations(session)
    of_revision: dict[tuple[bytes, int], datetime] = {}
    of_link: dict[bytes, datetime] = {}
    for row in session.scalars(wanted):
        older = [each for each in restored if row.revision < first_revision(each.restored_at)]
        of_revision[row.lookup_hash, row.revision] = _possible_from(row.fetched_at, older)
        first = _possible_from(row.fetched_at, restored)
        of_link[row.lookup_hash] = min(first, of_link.get(row.lookup_hash, first))
    return Fetches(of_revision, of_link)


def _possible_from(fetched_at: datetime, restored: Iterable[Restoration]) -> datetime:
    """The fetch that is known, or where restores came before it the making of the earliest copy."""
    return min([fetched_at, *(each.backup_made_at for each in restored if each.restored_at <= fetched_at)])
