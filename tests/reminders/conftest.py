"""The house in which these tests let days pass."""

import pytest

from tests.clinic_case import Case
from tests.reminders.cast import House


@pytest.fixture
def house(case: Case) -> House:
    return House(case)
