"""Opening hours are free words for patients; what was meant for another field is refused."""

import pytest

from server.fields.opening_hours import hours_problem


@pytest.mark.parametrize(
    "text",
    [
        "Monday to Friday, 8 to 16",
        "lunes a viernes",
        "day and night",
        "8-12, 14-18",
        "9-13 16-20",
        "0800-1600",
        "0800 – 1300 1600-2000",
        "8.00–16.00",
        "24 h",
        "٨-١٦",
    ],
)
def test_whatever_may_be_hours_is_taken(text: str) -> None:
    assert hours_problem(text) is None


@pytest.mark.parametrize(
    "text", ["555 0100", "+34 600 000 000", "0171 1234567", "112", "2355-2012", "0171-1234567", "0800-123456", "-", "…"]
)
def test_a_telephone_number_or_no_word_at_all_is_refused_with_how_to_write_it(text: str) -> None:
    said = hours_problem(text) or ""
    assert f"“{text}” does not say when the telephone is answered" in said and "Monday to Friday, 8 to 16" in said
