"""Who exports in these tests."""

from tests.exports.clinic import exporter

__all__ = ["exporter"]
