"""An instrument is added by the files that instruments/README.md lists, and by nothing else."""

import json
import re
import shutil
from pathlib import Path
from typing import Any

import pytest

import instruments
from scoring.answers import read_sheet
from scoring.data_reader import DataProblem
from scoring.explain import explain
from scoring.library import Library, load_library, read_library
from scoring.score import score
from tests.scoring.making import definition_data

INSTRUMENTS = Path(next(iter(instruments.__path__)))
NEW = "trial@1"
YES = {"id": "trial", "version": "1", "sources": ["made for tests"]}


def files_listed() -> list[str]:
    """The first table of the page: every file of an instrument's folder, English standing for the languages."""
    table = (INSTRUMENTS / "README.md").read_text("utf-8").split("\n\n")[2]
    return [name.replace("<lang>", "en") for name in re.findall(r"^\| `([^`]+)`", table, re.MULTILINE)]


def contents() -> dict[str, str]:
    """What a contributor writes into each of them."""
    items = [{"item": "1", "type": "choice", "codes": [1, 0], "topic": "lifting a cup"}]
    scale = definition_data()["scales"][0] | {"range": [0, 1], "rule": {"name": "sum", "items": ["1"]}}
    definition = definition_data(items=items, scales=[scale], thresholds=[]) | YES
    words: dict[str, Any] = {
        "text_id": f"{NEW}/en/descriptive-1", "instrument": NEW, "language": "en", "kind": "descriptive", "title": "Trial",
        "recall": "Today", "items": {"1": {"stem": "Can you lift a cup?", "hint": "", "options": {"1": "Yes", "0": "No"}}},
    }  # fmt: skip
    example = {"title": "yes", "source": "by hand", "answers": {"1": 1}, "scales": {scale["scale"]: 1}}
    return {
        "definition.json": json.dumps(definition),
        "text/en.json": json.dumps(words),
        "examples.json": json.dumps({"examples": [example]}),
        "SOURCE.md": "# Trial, version 1\n\n**Not known.** Nothing of it is.\n",
    }


@pytest.fixture
def root(tmp_path: Path) -> Path:
    """The instruments that there are, and the new one by the page."""
    shutil.copytree(INSTRUMENTS, tmp_path / "instruments")
    for name, content in contents().items():
        file = tmp_path / "instruments" / "trial" / "1" / name
        file.parent.mkdir(parents=True, exist_ok=True)
        file.write_text(content, encoding="utf-8")
    return tmp_path / "instruments"


def added(root: Path) -> Library:
    return read_library(root)


def test_the_page_lists_the_files_that_every_folder_has_and_no_other() -> None:
    assert sorted(contents()) == sorted(files_listed())
    folder = INSTRUMENTS / "sst" / "1"
    languages = {str(each.relative_to(folder)) for each in folder.glob("text/*.json")}
    there_are = {str(each.relative_to(folder)) for each in folder.rglob("*") if each.is_file()}
    assert there_are - languages | {"text/en.json"} == set(files_listed())


def test_the_new_instrument_is_loaded_scored_and_explained_beside_the_others(root: Path) -> None:
    library = added(root)
    assert library.definitions.keys() == {*load_library().definitions, NEW}
    definition = library.instrument("trial")
    (example,) = json.loads((root / "trial" / "1" / "examples.json").read_text("utf-8"))["examples"]
    answers = read_sheet(definition, example["answers"])
    assert {each.scale: each.value for each in score(definition, answers)} == example["scales"]
    assert "lifting a cup" in explain(definition, answers)
    assert library.texts(NEW)["en"]["title"] == "Trial"


@pytest.mark.parametrize("name", ["definition.json", "text/en.json"])
def test_without_a_file_that_the_program_reads_nothing_is_loaded(root: Path, name: str) -> None:
    (root / "trial" / "1" / name).unlink()
    with pytest.raises(DataProblem, match=r"trial/1"):
        added(root)
