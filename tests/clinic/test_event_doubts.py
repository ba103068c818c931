"""What is often a slip: an event systemic after 90 days, a culture at a revision that nobody has recorded, a visit years too early."""

from datetime import date

import pytest

from server.clinic.event_doubts import doubts_about_event
from server.clinic.findings import doubts_about_visit
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


@pytest.mark.parametrize(
    ("examined", "first", "asked"),
    [
        (date(2020, 1, 1), date(2024, 5, 2), True),
        (date(2023, 5, 1), date(2024, 5, 2), True),
        (date(2023, 5, 2), date(2024, 5, 2), False),
        (date(2025, 1, 1), date(2024, 5, 2), False),
        (date(2020, 1, 1), None, False),
    ],
)
def test_a_visit_long_before_the_first_operation_is_asked_about(
    examined: date, first: date | None, asked: bool
) -> None:
    operations = [Operation(kind="index", surgery_on=first), Operation(kind="revision", surgery_on=date(2026, 1, 1))]
    found = doubts_about_visit({"examined_on": examined}, operations if first else operations[:1])
    assert [f"the first operation of this shoulder, of {first}" in each for each in found] == [True] * asked
