"""The clinic whose answers were scored long ago, on an empty database of either kind."""

from collections.abc import Iterator
from pathlib import Path

import pytest

from tests.clinic_case import case
from tests.intake.archive import Archive, make_archive

__all__ = ["case"]


@pytest.fixture
def archive(database_url: str, tmp_path: Path) -> Iterator[Archive]:
    yield from make_archive(database_url, tmp_path)
