"""Which operation an event followed: by the days as they are recorded now, and by the form on which it was reported."""

from datetime import date

import pytest

from server.models import ClinicEvent, Operation
from server.queries.events import followed

IMPLANT, REVISION, AGAIN = 1, 2, 3
ON = {IMPLANT: date(2015, 5, 4), REVISION: date(2024, 2, 20), AGAIN: date(2024, 10, 7)}


def operations(*numbers: int) -> list[Operation]:
    return [Operation(id=number, kind="index", position=number, surgery_on=ON[number]) for number in numbers]


def event(happened: str, recorded_as: int | None = None) -> ClinicEvent:
    precision = {4: "year", 7: "month", 10: "day"}[len(happened)]
    on = date.fromisoformat(f"{happened}-01-01"[:10])
    return ClinicEvent(happened_on=on, happened_precision=precision, recorded_as_id=recorded_as)


@pytest.mark.parametrize(
    ("happened", "told", "after"),
    [
        ("2024-02-19", None, IMPLANT),
        ("2024-02-20", None, REVISION),
        ("2024-02", None, IMPLANT),
        ("2024-03", None, REVISION),
        ("2024", None, REVISION),
        ("2015", None, IMPLANT),
        ("2015-05", None, IMPLANT),
        ("2014", None, None),
        ("2024", (date(2024, 5, 10), REVISION), REVISION),
        ("2024-02", (date(2024, 2, 28), REVISION), REVISION),
        ("2024", (date(2024, 1, 10), IMPLANT), IMPLANT),
        ("2024-11", (date(2024, 11, 20), IMPLANT), AGAIN),
        ("2024-02", (date(2024, 2, 10), REVISION), IMPLANT),
    ],
    ids=[
        "the day before", "the day itself", "the middle of the month lies before it", "the month after it",
        "the middle of the year", "the year of the first one", "the month of the first one", "before every operation",
        "said on the form of month three", "said on the form of week one", "said before it",
        "the first clock goes on", "said on the form of an operation that was still to come",
    ],
)  # fmt: skip
def test_an_event_followed_the_last_operation_that_was_done_by_then(
    happened: str, told: tuple[date, int] | None, after: int | None
) -> None:
    found = followed(event(happened), operations(REVISION, AGAIN, IMPLANT), told)
    assert (found.id if found else None) == after


def test_an_operation_entered_later_is_the_one_that_its_events_followed() -> None:
    fall = event("2024-06-01")
    assert [getattr(followed(fall, operations(*known), None), "id", None) for known in ([], [1], [1, 2])] == [
        None,
        1,
        2,
    ]


def test_a_reported_operation_did_not_follow_itself() -> None:
    [first, again] = operations(IMPLANT, REVISION)
    assert followed(event("2024-02-20"), [first, again], None) is again
    assert followed(event("2024-02-20", recorded_as=REVISION), [first, again], None) is first
