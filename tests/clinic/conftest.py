"""The desk at which these tests enrol."""

from tests.clinic.cast import desk

__all__ = ["desk"]
