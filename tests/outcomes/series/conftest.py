"""Who exports, so that counts can be taken from the files."""

from tests.exports.clinic import exporter

__all__ = ["exporter"]
