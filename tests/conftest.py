"""What every test may ask for."""

from collections.abc import Iterator
from pathlib import Path

import pytest
from hypothesis import HealthCheck, settings

from tests.clinic_case import Case, make_case

pytest_plugins = ["tests.databases"]

# No deadline: two suites on two cores make any one example slow now and then.
settings.register_profile("yearmark", deadline=None, suppress_health_check=[HealthCheck.too_slow])
settings.load_profile("yearmark")


@pytest.fixture
def case(database_url: str, tmp_path: Path) -> Iterator[Case]:
    """A small clinic on an empty database, on SQLite and on PostgreSQL."""
    made = make_case(database_url, tmp_path)
    yield made
    made.store.engine.dispose()
