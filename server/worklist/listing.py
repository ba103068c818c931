"""The worklist: one page of what waits for a person, and how much of each kind there is."""

from collections.abc import Collection
from dataclasses import dataclass
from datetime import date, datetime

from sqlalchemy.orm import Session

from scoring.library import Library, load_library
from server.queries.chosen import CipherOf
from server.queries.clock import the_clinic
from server.worklist.queries import KINDS, SAFETY, SOURCES, WorkItem
from server.worklist.rows import WorkRow, describe
from server.worklist.urgency import urgent_first


@dataclass(frozen=True)
class Worklist:
    """`counts` has every kind, also those not asked for; `total` counts the kinds asked for, all pages together."""

    rows: list[WorkRow]
    counts: dict[str, int]
    total: int


def list_work(
    session: Session,
    *,
    today: date,
    now: datetime,
    cipher_of: CipherOf,
    kinds: Collection[str] | None = None,
    limit: int = 50,
    offset: int = 0,
    library: Library | None = None,
) -> Worklist:
    """One page. Counts are exact: they come from an index that holds all they need. ValueError for a kind that does not exist."""
    wanted = KINDS if kinds is None else tuple(kinds)
    if unknown := set(wanted) - set(KINDS):
        raise ValueError(f"no such kind of work: {', '.join(sorted(unknown))}")
    counts, library = dict.fromkeys(KINDS, 0), library or load_library()
    found: list[WorkItem] = []
    for source in SOURCES:
        counts.update(source.counts(session, today))
        here = sum(counts[kind] for kind in source.kinds if kind in wanted)
        missing = limit - len(found)
        if offset < here and missing > 0:
            if source is SAFETY:
                in_order = urgent_first(session, source.page(session, today, wanted, here, 0), cipher_of, library)
                found += in_order[offset : offset + missing]
            else:
                found += source.page(session, today, wanted, missing, offset)
        offset = max(0, offset - here)
    clinic = the_clinic(session)
    rows = describe(session, found, clinic=clinic, library=library, cipher_of=cipher_of, today=today, now=now)
    return Worklist(rows, counts, sum(counts[kind] for kind in wanted))
