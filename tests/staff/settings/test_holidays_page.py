"""The page Holidays: a data manager enters and removes days, and reads who did so."""

import pytest
from sqlalchemy import select

from server.models import ClinicHoliday
from tests.staff.staff_case import Staff, StaffCase

# What a page says is the same on either database.
pytestmark = pytest.mark.parametrize("database_url", ["sqlite"], indirect=True, scope="module")


@pytest.fixture
def manager(staff: StaffCase) -> Staff:
    return staff.sign_in("data_manager")


def enter(manager: Staff, **fields: str) -> str:
    answer = manager.post("/settings/holidays", fields)
    assert (answer.status_code, answer.location) == (302, "/settings/holidays?done=holiday-added")
    return manager.get(answer.location).text


def test_a_yearly_range_is_entered_listed_without_its_year_and_removed(staff: StaffCase, manager: Staff) -> None:
    assert 'href="/settings/holidays"' in manager.get("/settings").text
    page = enter(manager, first_on="2026-12-24", last_on="2027-01-06", name="Christmas", yearly="yes")
    assert "<b>24 December to 6 January</b>, Christmas" in page
    assert "every year" in page and "24 December to 6 January (Christmas): entered by" in page
    with staff.case.store.reading() as session:
        holiday_id = session.scalars(select(ClinicHoliday.id)).one()
    for _press in range(2):
        answer = manager.post(f"/settings/holidays/{holiday_id}/remove")
        assert answer.status_code == 302
    page = manager.get(answer.location).text
    assert "No holiday is entered." in page and page.count("(Christmas): removed by") == 1


def test_a_single_day_says_its_year(manager: Staff) -> None:
    assert "<b>3 August 2026</b>" in enter(manager, first_on="2026-08-03")


@pytest.mark.parametrize(
    ("fields", "sentence"),
    [
        ({"first_on": ""}, "Enter the first day."),
        ({"first_on": "2026-02-30"}, "is not a day of the calendar"),
        ({"first_on": "2026-08-03", "last_on": "2026-08-01"}, "The last day is before the first."),
    ],
)
def test_what_cannot_be_is_said_and_what_was_typed_stays(manager: Staff, fields: dict[str, str], sentence: str) -> None:
    answer = manager.post("/settings/holidays", {**fields, "name": "Typed already"})
    assert answer.status_code == 422
    assert (
        sentence in answer.text and 'value="Typed already"' in answer.text and "No holiday is entered." in answer.text
    )
