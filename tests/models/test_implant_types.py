"""The implant types that a threshold can be limited to are those of a clinic's records."""

from scoring.definition import THRESHOLD_IMPLANTS
from server.fields.operation import IMPLANT_TYPES


def test_the_implant_types_of_thresholds_are_those_of_a_clinics_records() -> None:
    assert set(THRESHOLD_IMPLANTS) == set(IMPLANT_TYPES) - {"none", "other", "unknown"}
