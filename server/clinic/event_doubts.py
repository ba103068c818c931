"""What about an event may be right but is often a slip: asked about once (pure). Who has checked it keeps it, and that is recorded."""

from collections.abc import Iterable, Mapping
from datetime import date, timedelta

from server.fields.event import EVENT_KINDS, SYSTEMIC
from server.fields.field import Value
from server.fields.operation_words import REVISIONS
from server.models import Operation
from server.schedule.dates import last_possible

SYSTEMIC_DAYS = 90  # so long after an operation the core set counts what happens to the whole person


def doubts_about_event(values: Mapping[str, Value], operations: Iterable[Operation]) -> list[str]:
    """A sentence for each. `values` were checked; `operations`: those of its shoulder that stand."""
    first, kind = values.get("happened_on"), str(values.get("kind"))
    if not isinstance(first, date):
        return []
    last = last_possible(first, str(values.get("happened_precision") or "day"))
    # Kind and last possible day of each that can have been done by then.
    by_then = [
        (each.kind, last_possible(each.surgery_on, each.surgery_precision))
        for each in operations
        if each.surgery_on is not None and each.surgery_on <= last
    ]
    return [
        *_systemic_and_late(kind, first, [on for _kind, on in by_then]),
        *_culture_without_revision(kind, [done for done, _on in by_then]),
    ]


def _systemic_and_late(kind: str, first: date, operated: list[date]) -> list[str]:
    days = timedelta(days=SYSTEMIC_DAYS)
    if kind not in SYSTEMIC or any(first <= on + days for on in operated):
        return []
    said = EVENT_KINDS[kind]
    return [
        f"“{said[0].upper()}{said[1:]}” is counted up to {SYSTEMIC_DAYS} days after an operation, and no operation of this shoulder "
        "is recorded so short a time before. Are the day, what happened and the shoulder right?"
    ]


def _culture_without_revision(kind: str, done: list[str]) -> list[str]:
    if kind != "unexpected_positive_culture" or any(each in REVISIONS for each in done):
        return []
    return [
        "An unexpected positive culture is found at a revision, and no revision of this shoulder is recorded by that day. "
        "Is the revision still to be entered, or was it something else?"
    ]
