"""What every test may ask for."""

import subprocess
import sys
from pathlib import Path

import pytest
from hypothesis import HealthCheck, settings

from tests.structure.tree import ROOT

pytest_plugins = ["tests.databases"]

# No deadline: two suites on two cores make any one example slow now and then. `./run soak` tries thousands of examples.
settings.register_profile("yearmark", deadline=None, max_examples=20, suppress_health_check=[HealthCheck.too_slow])
settings.load_profile("yearmark")


def pytest_configure(config: pytest.Config) -> None:
    """Compiles the catalogues of words when one was changed, so that a single test can be started by hand."""
    catalogues = (ROOT / "server" / "words" / "catalogues").glob("*/LC_MESSAGES/*.po")
    if not hasattr(config, "workerinput") and any(is_stale(path) for path in catalogues):
        subprocess.run([sys.executable, str(ROOT / "hatch_build.py"), "catalogues"], check=True)


def is_stale(catalogue: Path) -> bool:
    compiled = catalogue.with_suffix(".mo")
    return not compiled.is_file() or compiled.stat().st_mtime < catalogue.stat().st_mtime
