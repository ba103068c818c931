"""Notes of what is open, or has just closed, on which day the patient was first asked: server.timepoints.asked has the rules.

Before the pass over statuses, since a window that closes is missed or never asked by it. Reads without the lock first: on most passes
little is to be written. It may be killed anywhere and run again at any time.
"""

from datetime import date

from sqlalchemy import update

from server.models import Timepoint
from server.store.engine import Store
from server.timepoints.asked import waiting_asked_days

AT_ONCE = 500  # rows in one transaction


def mark_asked(store: Store, *, today: date) -> int:
    """How many were noted."""
    with store.reading() as session:
        found = sorted(waiting_asked_days(session, today).items())
    for start in range(0, len(found), AT_ONCE):
        with store.writing() as session:
            for timepoint_id, on in found[start : start + AT_ONCE]:
                row = update(Timepoint).where(Timepoint.id == timepoint_id, Timepoint.asked_on.is_(None))
                session.execute(row.values(asked_on=on))
    return len(found)
