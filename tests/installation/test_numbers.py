"""A number that cannot be dialled is named, and stops nothing else."""

import pytest

from server.installation.finding import Finding
from server.installation.readiness import findings
from server.models import Clinic
from tests.clinic_case import Case

pytestmark = pytest.mark.parametrize("database_url", ["sqlite"], indirect=True, scope="module")


def finding(case: Case) -> Finding:
    (one,) = [each for each in findings(case.runtime, now=case.now) if each.name == "numbers"]
    return one


def test_words_in_place_of_a_number_are_named_with_their_field(live: Case) -> None:
    assert finding(live).ready
    with live.store.writing() as session:
        session.get_one(Clinic, 1).closed_phone = "lunes a viernes, de 8 a 16"
    found = finding(live)
    assert not found.ready
    assert found.what.values == {"number": "lunes a viernes, de 8 a 16", "field": "Telephone when closed"}


def test_a_second_number_beside_the_emergency_number_is_named(live: Case) -> None:
    with live.store.writing() as session:
        clinic = session.get_one(Clinic, 1)
        clinic.closed_phone, clinic.emergency_number = "555 0101", "112 / 061"
    assert finding(live).what.values == {"number": "112 / 061", "field": "Emergency number"}


def test_a_telephone_number_in_place_of_the_hours_is_named(live: Case) -> None:
    with live.store.writing() as session:
        session.get_one(Clinic, 1).phone_hours = {"en": "day and night", "es": "555 0100"}
    assert finding(live).what.values == {"hours": "555 0100"}
