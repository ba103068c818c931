"""Notes of what is open, or has just closed, on which day the patient was first asked: server.timepoints.asked has the rules.

Before the pass over statuses, since a window that closes is missed or never asked by it. Reads without the lock first: on most passes
little is to be written. It may be killed anywhere and run again at any time.
"""

from datetime import date
from typing import cast

from sqlalchemy import Table, bindparam, update

from server.models import Timepoint
from server.store.engine import Store
from server.timepoints.asked import waiting_asked_days

AT_ONCE = 500  # rows in one transaction
_TABLE = cast(Table, Timepoint.__table__)
_NOTE = update(_TABLE).where(_TABLE.c.id == bindparam("timepoint"), _TABLE.c.asked_on.is_(None))
_NOTE = _NOTE.values(asked_on=bindparam("on"))


def mark_asked(store: Store, *, today: date) -> int:
    """How many were noted."""
    with store.reading() as session:
        found = sorted(waiting_asked_days(session, today).items())
    for start in range(0, len(found), AT_ONCE):
        with store.writing() as session:
            some = [{"timepoint": timepoint_id, "on": on} for timepoint_id, on in found[start : start + AT_ONCE]]
            session.connection().execute(_NOTE, some)
    return len(found)
