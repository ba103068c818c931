"""Which instants of a phone are read: whole milliseconds in UTC, of the years 1970 to 2099."""

from datetime import UTC, datetime

import pytest

from server.forms.instant import read_instant


@pytest.mark.parametrize(
    ("text", "instant"),
    [
        ("1970-01-01T00:00:00.000Z", datetime(1970, 1, 1, tzinfo=UTC)),
        ("2024-02-29T23:59:59.999Z", datetime(2024, 2, 29, 23, 59, 59, 999_000, tzinfo=UTC)),
        ("2099-12-31T23:59:59.999Z", datetime(2099, 12, 31, 23, 59, 59, 999_000, tzinfo=UTC)),
    ],
)
def test_an_instant_within_the_limits_is_read(text: str, instant: datetime) -> None:
    assert read_instant(text) == instant


@pytest.mark.parametrize(
    "value",
    [
        "1969-12-31T23:59:59.999Z",
        "2100-01-01T00:00:00.000Z",
        "0001-01-01T00:00:00.000Z",
        "2026-02-30T09:00:00.000Z",
        "2026-06-15T24:00:01.000Z",
        "2026-06-15T09:00:00Z",
        "2026-06-15T09:00:00.000",
        "2026-06-15T09:00:00.000Z\n",
        " 2026-06-15T09:00:00.000Z",
        "2026-06-15T09:00:00.000+00:00",
        "٢٠٢٦-06-15T09:00:00.000Z",
        "",
        None,
        1_750_000_000,
        [],
    ],
)
def test_anything_else_is_no_instant(value: object) -> None:
    assert read_instant(value) is None
