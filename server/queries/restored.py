"""Whether this database came out of a copy, when, and whether somebody has released it: until then nothing is sent from it.

What was sent after the copy was made is not in it, so that a restored clinic would send it again.
"""

from datetime import datetime

from sqlalchemy import select
from sqlalchemy.orm import Session

from server.models import Restoration

# A step for every ten seconds of the clock: faster than any link's sheet changes, and 2147483647, the most that a phone may name, is
# reached in the year 2650.
_SECONDS_A_REVISION = 10


def waits_for_release(session: Session) -> Restoration | None:
    """The restoration that nobody has released yet; None when messages may leave."""
    waiting = select(Restoration).where(Restoration.released_at.is_(None))
    return session.scalars(waiting.order_by(Restoration.id.desc()).limit(1)).first()


def last_restored_at(session: Session) -> datetime | None:
    """Which restore made this database what it is; None when it never came out of a copy. Phones hold it against their receipts.

    An instant and no count: restored twice from the same copy, a database knows of one restore each time.
    """
    return session.scalar(select(Restoration.restored_at).order_by(Restoration.id.desc()).limit(1))


def was_restored(session: Session) -> bool:
    """Whether this database ever came out of a copy: of copies and proofs made after that one it knows nothing."""
    return session.scalar(select(Restoration.id).limit(1)) is not None


def restorations(session: Session) -> list[Restoration]:
    """All that made this database what it is, the earliest first."""
    return list(session.scalars(select(Restoration).order_by(Restoration.id)))


def first_revision(restored_at: datetime) -> int:
    """The least revision of a sheet that is published after this restore: no earlier sheet had it, not even one that is lost.

    Phones still hold lost sheets, and a revision that named two sheets would date the answers to one by the fetch of the other. By the
    clock, since a count of restores is the same again when a clinic is restored twice from one copy.
    """
    return int(restored_at.timestamp()) // _SECONDS_A_REVISION
