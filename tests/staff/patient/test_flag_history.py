"""What was looked at stays on the patient's page: which answer, who settled it, when and with which note."""

import pytest

from tests.staff.html_page import read_page
from tests.staff.staff_case import Staff, StaffCase
from tests.staff.visited import open_timepoint

# What a page says is the same on either database.
pytestmark = pytest.mark.parametrize("database_url", ["sqlite"], indirect=True, scope="module")


def test_a_settled_safety_answer_keeps_its_note_and_name_on_the_page(staff: StaffCase, nurse: Staff) -> None:
    patient_id = staff.case.enrol()
    staff.answer(open_timepoint(staff, patient_id, "year-1"), {"since@2/9": 1, "since@2/9a": 1}, on=staff.case.today)
    page = nurse.get(f"/patients/{patient_id}").text
    assert "Look at it and settle it" in page and "roken bone or fall in the last two weeks" in page
    [path] = {
        each.attributes["href"] for each in read_page(page).all("a") if each.attributes["href"].startswith("/flags/")
    }
    nurse.post(path, {"note": "a fall at home, seen at once"})
    after = read_page(nurse.get(f"/patients/{patient_id}").text).words
    assert "What was looked at and settled" in after and "a fall at home, seen at once" in after
    assert "settled by Nell Nurse" in after and "roken bone or fall in the last two weeks" in after
    assert "Look at it and settle it" not in after
    assert "by Nell Nurse" in read_page(nurse.get(path).text).words
