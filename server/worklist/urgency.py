"""Which safety answers come first: those after which the form names the emergency number, before those for the clinic.

The database cannot sort by it: what was answered lies under each patient's own key. There are few that are open at one time.
"""

from collections.abc import Sequence

from sqlalchemy import select
from sqlalchemy.orm import Session

from scoring.library import Library
from server.models import Flag
from server.queries.chosen import CipherOf, chosen_options
from server.worklist.queries import WorkItem


def urgent_first(session: Session, found: Sequence[WorkItem], cipher_of: CipherOf, library: Library) -> list[WorkItem]:
    """The same rows; among the urgent ones, and among the others, in the order in which they came."""
    if len(found) < 2:
        return list(found)
    open_ones = select(Flag.id, Flag.response_id, Flag.item).where(
        Flag.settled_at.is_(None), Flag.kind == "safety_answer", Flag.response_id.is_not(None), Flag.item.is_not(None)
    )
    flags = session.execute(open_ones).all()
    chosen = chosen_options(session, {(row.response_id, row.item) for row in flags}, cipher_of, library)
    responses = {response_id for (response_id, _item), each in chosen.items() if each.emergency}
    urgent = {row.id for row in flags if row.response_id in responses}
    return sorted(found, key=lambda each: each.id not in urgent)
