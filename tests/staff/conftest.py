"""Staff at the small clinic of tests.clinic_case."""

import pytest

from tests.clinic_case import Case, case
from tests.staff.staff_case import Staff, StaffCase, make_staff_case

__all__ = ["case"]


@pytest.fixture
def staff(case: Case) -> StaffCase:
    return make_staff_case(case)


@pytest.fixture
def nurse(staff: StaffCase) -> Staff:
    return staff.sign_in("nurse")
