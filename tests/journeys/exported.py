"""The export as a surgeon gets it, by the real command."""

import csv
import os
import subprocess
import sys
from pathlib import Path

from tests.journeys.site import Site
from tests.structure.tree import ROOT


def export(site: Site, out: Path) -> None:
    command = [sys.executable, "-c", "from server.cli import main; main()", "export"]
    environment = {**os.environ, "YEARMARK_DATABASE_URL": site.database_url}
    done = subprocess.run(
        [*command, "--data", str(site.folder), "--out", str(out)],
        cwd=ROOT, env=environment, capture_output=True, text=True,
    )  # fmt: skip
    assert done.returncode == 0, done.stderr


def rows(out: Path, file: str, **wanted: str) -> list[dict[str, str]]:
    """The rows of one file that have these values."""
    with (out / file).open(encoding="utf-8-sig", newline="") as text:
        return [row for row in csv.DictReader(text) if all(row[name] == value for name, value in wanted.items())]


def answers(out: Path, study_number: str, timepoint: str) -> dict[str, tuple[str, str]]:
    """ "sst@1/7" to (value, why it is missing) as long.csv has them."""
    found = rows(out, "long.csv", study_number=study_number, timepoint=timepoint, row_kind="item")
    return {f"{row['instrument']}/{row['item']}": (row["value"], row["missing"]) for row in found}
