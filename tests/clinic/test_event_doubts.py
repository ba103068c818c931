"""What about an event is often a slip: systemic after 90 days, and a culture at a revision that nobody has recorded."""

from datetime import date

import pytest

from server.clinic.event_doubts import doubts_about_event
from server.fields.field import Value
from server.models import Operation

LATE, CULTURE = "counted up to 90 days after an operation", "is found at a revision"


def done(day: str, kind: str = "index", precision: str = "day") -> Operation:
    return Operation(kind=kind, surgery_on=date.fromisoformat(day), surgery_precision=precision)


@pytest.mark.parametrize(
    ("kind", "happened", "operations", "asked"),
    [
        ("cardiac", "2026-04-01", [done("2026-01-01")], ""),
        ("cardiac", "2026-04-02", [done("2026-01-01")], LATE),
        ("cardiac", "2026-04-02", [done("2026-01-01"), done("2026-03-30", "other")], ""),
        ("cardiac", "2026-04-02", [done("2026-01-01"), done("2026-04-03", "other")], LATE),
        ("cardiac", "2026-04-02", [done("2026-01-01"), Operation(kind="revision")], LATE),
        ("cardiac", "2026-04", [done("2026-01-01")], ""),
        ("cardiac", "2026-05", [done("2026-01-01")], LATE),
        ("cardiac", "2026-04-20", [done("2026-01-01", precision="month")], ""),
        ("death", "2026-06-01", [done("2026-01-01")], LATE),
        ("infection", "2026-06-01", [done("2026-01-01")], ""),
        ("unexpected_positive_culture", "2026-06-01", [done("2026-01-01")], CULTURE),
        ("unexpected_positive_culture", "2026-06-01", [done("2026-06-02", "revision")], CULTURE),
        ("unexpected_positive_culture", "2026-06-01", [done("2026-01-01"), done("2026-05-20", "revision")], ""),
    ],
)  # fmt: skip
def test_a_slip_is_asked_about_and_nothing_else(
    kind: str, happened: str, operations: list[Operation], asked: str
) -> None:
    on = {7: f"{happened}-01", 10: happened}[len(happened)]
    precision = {7: "month", 10: "day"}[len(happened)]
    values: dict[str, Value] = {"kind": kind, "happened_on": date.fromisoformat(on), "happened_precision": precision}
    found = doubts_about_event(values, operations)
    assert [asked in each for each in found] == ([True] if asked else [])
