"""What an address of the series keeps: its codes, in every link, and nothing that is none."""

import pytest

from server.models import SeriesVersion
from tests.staff.series.test_saved_series import save
from tests.staff.series.test_series_page import a_small_clinic
from tests.staff.staff_case import Staff, StaffCase

pytestmark = pytest.mark.parametrize("database_url", ["sqlite"], indirect=True, scope="module")
LONG = "x" * 10_000
CODES = "end=reason&reason=infection&function=sst%401&mixed=yes&window=2&by=sex&pair=reverse.stemmed_hemi&silence=3"


def test_what_is_no_code_is_told_once_and_kept_in_no_link(staff: StaffCase, nurse: Staff) -> None:
    a_small_clinic(staff, nurse)
    plain, page = nurse.get("/series").text, nurse.get(f"/series?by={LONG}&pair={LONG}&end={LONG}&series={LONG}").text
    assert len(page) - len(plain) < 2000 and "by=x" not in page and "pair=x" not in page and "end=x" not in page
    assert f"“{'x' * 60}”" in page and "x" * 61 not in page


def test_what_is_no_code_is_saved_with_no_series_and_codes_are(staff: StaffCase, nurse: Staff) -> None:
    a_small_clinic(staff, nurse)
    surgeon = staff.sign_in("surgeon")
    assert save(surgeon, f"side=left&by={LONG}&window=2").status_code == 302
    assert save(surgeon, f"side=left&{CODES}", name="All choices").status_code == 302
    with staff.case.store.reading() as session:
        first, second = (version.options for version in session.query(SeriesVersion).order_by(SeriesVersion.series_id))
    assert first == "window=2" and sorted(second.split("&")) == sorted(CODES.split("&"))
