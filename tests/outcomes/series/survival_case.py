"""Shoulders for the tests of implant survival, from spans in days after surgery."""

from collections.abc import Iterable
from datetime import timedelta
from typing import Any

from server.outcomes.arithmetic.spans import Span
from server.outcomes.series.followed import Followed
from server.outcomes.series.watch import DAYS_A_YEAR, DEATH, OTHER_REVISION
from tests.outcomes.series.followed_case import SURGERY, TODAY, fact, later, shoulder

LONG_AGO = SURGERY - timedelta(days=40 * 366)
REASONS = {1: "infection", OTHER_REVISION: "instability"}


def years(days: float) -> float:
    return days / DAYS_A_YEAR


def shoulder_of(span: Span, patient: int) -> Followed:
    """Revised, dead or last known so many days after surgery, and watched from so many."""
    on = LONG_AGO + timedelta(days=int(span.time))
    revised = () if span.status in (0, DEATH) else (later(on, reason=REASONS[span.status]),)
    return shoulder(
        surgery_on=LONG_AGO,
        watched_from=LONG_AGO + timedelta(days=max(0, int(span.entry))),
        later=revised,
        died=on if span.status == DEATH else None,
        implant_on=TODAY if revised else on,
        patient_id=patient,
    )


def shoulders_of(spans: Iterable[Span]) -> list[Followed]:
    """A span without a person is of a person of its own."""
    persons: dict[str, int] = {}
    found = []
    for number, span in enumerate(spans):
        named = persons.setdefault(span.person, len(persons)) if span.person is not None else 10_000 + number
        found.append(shoulder_of(span._replace(entry=max(0.0, span.entry)), named))
    return found


def many(number: int, **values: Any) -> list[Followed]:
    return [shoulder(**values) for _ in range(number)]


__all__ = ["LONG_AGO", "SURGERY", "TODAY", "fact", "later", "many", "shoulder", "shoulder_of", "shoulders_of", "years"]
