"""The ward of these tests."""

from tests.worklist.ward import ward

__all__ = ["ward"]
