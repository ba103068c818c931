"""What every test may ask for."""

import subprocess
import sys
from pathlib import Path

import pytest
from hypothesis import HealthCheck, settings
from xdist.remote import Producer
from xdist.scheduler import LoadFileScheduling

from tests.structure.tree import ROOT

pytest_plugins = ["tests.databases", "tests.driver"]

# No deadline: two suites on two cores make any one example slow now and then. `./run soak` tries thousands of examples.
settings.register_profile("yearmark", deadline=None, max_examples=20, suppress_health_check=[HealthCheck.too_slow])
settings.load_profile("yearmark")

# Folders whose files hold few tests that each take long. They come first, so that none is left over for one worker at the end.
LONG = ["journeys", "demo", "structure", "proxy", "intake", "cli"]


def pytest_configure(config: pytest.Config) -> None:
    """Compiles the catalogues of words when one was changed, so that a single test can be started by hand."""
    catalogues = (ROOT / "server" / "words" / "catalogues").glob("*/LC_MESSAGES/*.po")
    if not hasattr(config, "workerinput") and any(is_stale(path) for path in catalogues):
        subprocess.run([sys.executable, str(ROOT / "hatch_build.py"), "catalogues"], check=True)


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    def place(item: pytest.Item) -> int:
        folder = item.path.relative_to(ROOT).parts[1]
        return LONG.index(folder) if folder in LONG else len(LONG)

    items.sort(key=place)


class ByFile(LoadFileScheduling):
    """A worker takes whole files. One takes all those of the demo, since its invented clinic is seeded once in a process, and one
    all the journeys, since two browsers at once on two cores would keep each other waiting."""

    def _split_scope(self, nodeid: str) -> str:
        file = super()._split_scope(nodeid)
        return next((folder for folder in ("tests/demo/", "tests/journeys/") if file.startswith(folder)), file)


def pytest_xdist_make_scheduler(config: pytest.Config, log: Producer) -> LoadFileScheduling:
    config.option.loadscopereorder = False  # it would put files of few tests last
    return ByFile(config, log)


def is_stale(catalogue: Path) -> bool:
    compiled = catalogue.with_suffix(".mo")
    return not compiled.is_file() or compiled.stat().st_mtime < catalogue.stat().st_mtime
