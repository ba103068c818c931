"""Which old copies go. Pure.

Rules:

1. Every copy of the last 7 days stays.
2. Of older ones the newest of each week stays for 5 weeks, of each month for 12 months, and of each year for good.
3. The newest copy stays, and the one that the last proof was made from.
"""

from collections.abc import Collection, Iterable
from dataclasses import dataclass
from datetime import datetime, timedelta

ALL_FOR = timedelta(days=7)
WEEKLY_FOR = timedelta(weeks=5)
MONTHLY_FOR = timedelta(days=366)


@dataclass(frozen=True)
class Copied:
    backup_id: str
    made_at: datetime


def no_longer_kept(copies: Iterable[Copied], *, now: datetime, kept_anyhow: Collection[str] = ()) -> list[Copied]:
    """The copies that go, the oldest first."""
    newest_first = sorted(copies, key=lambda each: (each.made_at, each.backup_id), reverse=True)
    seen: set[tuple[str, ...]] = set()
    gone = []
    for place, copy in enumerate(newest_first):
        periods = _periods(copy.made_at, now)
        is_first = bool(periods - seen)
        seen |= periods
        if place and not is_first and now - copy.made_at > ALL_FOR and copy.backup_id not in kept_anyhow:
            gone.append(copy)
    return gone[::-1]


def _periods(made_at: datetime, now: datetime) -> set[tuple[str, ...]]:
    """The periods whose newest copy stays, as long as the copy is young enough for them."""
    age = now - made_at
    periods: set[tuple[str, ...]] = {("year", f"{made_at:%Y}")}
    if age <= WEEKLY_FOR:
        periods.add(("week", f"{made_at:%G-%V}"))
    if age <= MONTHLY_FOR:
        periods.add(("month", f"{made_at:%Y-%m}"))
    return periods
