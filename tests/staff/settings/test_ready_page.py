"""The page “Readiness” shows the list of `yearmark check`, each point with what to do and where."""

import pytest

from server.installation.finding import Finding
from server.models import Restoration
from server.staff.settings import ready
from server.words.phrase import phrase
from tests.staff.staff_case import StaffCase

# What a page says is the same on either database.
pytestmark = pytest.mark.parametrize("database_url", ["sqlite"], indirect=True, scope="module")


def test_what_is_open_comes_first_with_what_to_do_and_the_page_for_it(staff: StaffCase) -> None:
    page = staff.sign_in("data_manager").get("/ready").text
    assert "This is the demo" in page and "./run install --data DIR" in page
    assert "plain HTTP" in page and 'href="/settings">Open Settings' in page
    assert page.index("plain HTTP") < page.index("Every text that is asked")
    assert "points are open" in page


def test_a_restored_clinic_that_waits_is_led_to_its_release(staff: StaffCase) -> None:
    restored_on = staff.case.now
    with staff.case.store.writing() as session:
        session.add(Restoration(restored_at=restored_on, backup_id="ab" * 16, backup_made_at=restored_on))
    page = staff.sign_in("data_manager").get("/ready").text
    assert "nothing is sent from it" in page and 'href="/backups">Open Backups' in page


def test_a_clinic_with_nothing_open_is_told_so(staff: StaffCase, monkeypatch: pytest.MonkeyPatch) -> None:
    all_there = [Finding("address", phrase("Patients reach the clinic."))]
    monkeypatch.setattr(ready, "findings", lambda _runtime, now: all_there)
    page = staff.sign_in("data_manager").get("/ready")
    assert page.status_code == 200 and "All is ready for patients." in page.text
    assert "Patients reach the clinic." in page.text
