"""The house in which these tests let days pass."""

import pytest

from tests.clinic_case import Case, case
from tests.reminders.cast import House

__all__ = ["case"]


@pytest.fixture
def house(case: Case) -> House:
    return House(case)
