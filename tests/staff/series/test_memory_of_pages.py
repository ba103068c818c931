"""All that was read for a page of the series leaves memory with it, and waits for no collector."""

import gc

import pytest

from server.outcomes.series.followed import Followings
from tests.staff.series.test_series_page import a_small_clinic
from tests.staff.staff_case import Staff, StaffCase

pytestmark = pytest.mark.parametrize("database_url", ["sqlite"], indirect=True, scope="module")


@pytest.fixture
def surgeon(staff: StaffCase, nurse: Staff) -> Staff:
    a_small_clinic(staff, nurse)
    return staff.sign_in("surgeon")


@pytest.mark.parametrize(
    "address", ["", "?open=cuff&silence=2", "/methods", "/methods.txt", "/strobe-record.csv", "/course/table.csv"]
)
def test_what_a_page_read_is_gone_once_it_is_sent(surgeon: Staff, address: str) -> None:
    gc.collect()  # of other tests
    gc.disable()
    try:
        page = surgeon.get(f"/series{address}")
        assert page.status_code == 200
        assert not [each for each in gc.get_objects() if isinstance(each, Followings)]
    finally:
        gc.enable()
