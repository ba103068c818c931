"""The years of surgery that a clinic searched for later operations, as the settings page takes them."""

import pytest

from server.clinic.settings import check_settings
from server.fields.check import in_english
from server.fields.searched_years import EXAMPLE, read_years


@pytest.mark.parametrize(
    ("text", "years"),
    [
        ("", set()),
        ("2015", {2015}),
        (EXAMPLE, {*range(2004, 2013), 2015}),
        (" 2004 – 2005 ,2005-2006", {2004, 2005, 2006}),
    ],
)
def test_years_and_spans_of_years_are_read(text: str, years: set[int]) -> None:
    assert read_years(text) == years


@pytest.mark.parametrize(
    "text", ["all", "04-12", "2004-", "2012-2004", "2004,,2006", "2004 2005", "2004-2005-2006", "1004"]
)
def test_what_names_no_years_is_said_at_the_setting(text: str) -> None:
    (said,) = check_settings({"searched_years": text}, live=False)["searched_years"]
    assert EXAMPLE in in_english([said])[0]


def test_no_years_is_an_answer() -> None:
    assert check_settings({"searched_years": None}, live=True) == {}
