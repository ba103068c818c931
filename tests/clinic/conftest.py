"""The desk at which these tests enrol, and the small clinic that some are about."""

from tests.clinic.cast import desk
from tests.clinic_case import case

__all__ = ["case", "desk"]
