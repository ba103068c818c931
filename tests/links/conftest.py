"""The small clinic that these tests are about."""

from tests.clinic_case import case

__all__ = ["case"]
