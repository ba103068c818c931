"""The built wheel works by itself, in another folder: an editable install would hide what it lacks."""

import json
import os
import subprocess
import sys
from pathlib import Path

import pytest

from tests.structure.tree import ROOT, project_files


@pytest.fixture(scope="module")
def installed(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folder with what the wheel installs, without what it depends on."""
    built, target = tmp_path_factory.mktemp("wheel"), tmp_path_factory.mktemp("installed")
    call(["-m", "hatchling", "build", "-t", "wheel", "-d", str(built)], cwd=ROOT)
    wheel = next(built.glob("*.whl"))
    call(["-m", "pip", "install", "--quiet", "--no-deps", "--no-index", "--target", str(target), str(wheel)], cwd=built)
    return target


def call(arguments: list[str], *, cwd: Path, given: str = "", first_in_path: Path | None = None) -> str:
    environment = {**os.environ, "PYTHONPATH": str(first_in_path or "")}
    done = subprocess.run(
        [sys.executable, *arguments], cwd=cwd, env=environment, input=given, capture_output=True, text=True
    )
    assert done.returncode == 0, done.stdout + done.stderr
    return done.stdout


def test_the_wheel_holds_every_file_of_its_packages(installed: Path) -> None:
    ours = {path for path in project_files() if path.parts[0] in {"server", "scoring", "instruments"}}
    assert {str(path) for path in ours if not (installed / path).is_file()} == set()


def test_the_wheel_holds_the_built_phone_app(installed: Path) -> None:
    built = {path.relative_to(ROOT) for path in (ROOT / "server/static/pwa").rglob("*") if path.is_file()}
    assert {str(path) for path in built if not (installed / path).is_file()} == set()
    assert (installed / "server/static/pwa/index.html").stat().st_size > 1000


def test_the_wheel_scores_an_instrument_from_another_folder(installed: Path, tmp_path: Path) -> None:
    where = call(["-c", "import server; print(server.__file__)"], cwd=tmp_path, first_in_path=installed)
    assert Path(where.strip()).is_relative_to(installed)
    answers = json.dumps({"answers": {str(item): 1 for item in range(1, 13)}})
    command = ["-c", "from server.cli import main; main()", "score", "sst"]
    scored = call(command, cwd=tmp_path, given=answers, first_in_path=installed)
    assert json.loads(scored)["scales"][0]["value"] == 12
