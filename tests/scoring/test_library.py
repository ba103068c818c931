"""The library loads everything or refuses, and says which file."""

import json
import pickle
import shutil
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest

from scoring.answers import Answer
from scoring.data_reader import DataProblem
from scoring.library import UnknownInstrument, load_library, read_library
from scoring.parts import score_part
from tests.scoring.making import definition_data, text_data

PART = {"instrument": "trial@1"}


def plan_data(*parts: dict[str, Any], phone_call: tuple[str, ...] = ("trial@1/1",)) -> dict[str, Any]:
    return {"id": "p", "version": "1", "timepoints": [{"parts": list(parts)}], "phone_call": list(phone_call)}


def write(path: Path, data: object) -> None:
    path.parent.mkdir(parents=True, exist_ok=True)
    path.write_text(json.dumps(data), "utf-8")


@pytest.fixture
def root(tmp_path: Path) -> Path:
    write(tmp_path / "trial/1/definition.json", definition_data())
    write(tmp_path / "trial/1/text/en.json", text_data())
    form = {"item": "2", "type": "month", "asked_if": {"item": "1", "codes": [1]}, "topic": "month"}
    first = {"item": "1", "type": "choice", "codes": [1, 0], "topic": "choice"}
    write(
        tmp_path / "form/1/definition.json",
        definition_data(id="form", kind="form", items=[first, form], scales=[], thresholds=[]),
    )
    words = {"stem": "Well?", "hint": ""}
    write(
        tmp_path / "form/1/text/en.json",
        text_data(
            text_id="form@1/en/descriptive-1",
            instrument="form@1",
            items={"1": words | {"options": {"1": "Yes", "0": "No"}}, "2": words},
        ),
    )
    write(tmp_path / "plans/p/1.json", plan_data(PART))
    return tmp_path


def test_it_loads_once() -> None:
    assert load_library() is load_library()


def test_a_pickle_of_it_gives_the_same_library() -> None:
    library = load_library()
    again = pickle.loads(pickle.dumps(library))
    documents = again.definition_documents, again.text_documents, again.plans
    assert documents == (library.definition_documents, library.text_documents, library.plans)
    assert list(again.definitions) == list(library.definitions)
    answers = {str(number): Answer("answered", 1) for number in range(1, 13)}
    sst = [score_part(each.instrument("sst@1"), answers) for each in (library, again)]
    assert sst[0] == sst[1]


def test_one_with_other_definitions_than_documents_has_no_pickle() -> None:
    library = load_library()
    with pytest.raises(TypeError, match=r"^a library with other definitions than its documents has no pickle$"):
        pickle.dumps(replace(library, definitions={}))


def test_it_holds_documents_as_they_lie_in_the_files(root: Path) -> None:
    library = read_library(root)
    assert library.definition_document("trial@1") == definition_data()
    assert library.texts("trial") == {"en": text_data()}
    assert library.plans == {"p@1": plan_data(PART)}


def test_the_newest_version_is_found_by_number_not_by_letter(root: Path) -> None:
    for version in ("2", "10"):
        write(root / f"trial/{version}/definition.json", definition_data(version=version))
        text = text_data(instrument=f"trial@{version}", text_id=f"trial@{version}/en/descriptive-1")
        write(root / f"trial/{version}/text/en.json", text)
    assert read_library(root).instrument("trial").version == "10"
    assert read_library(root).instrument("trial@2").version == "2"


@pytest.mark.parametrize("spec", ["nothing", "trial@9", "trial@", "", "@1"])
def test_an_unknown_instrument_is_told_what_there_is(root: Path, spec: str) -> None:
    with pytest.raises(UnknownInstrument) as caught:
        read_library(root).instrument(spec)
    assert str(caught.value) == f'there is no instrument "{spec}"; there are: form@1, trial@1'


def test_hidden_folders_and_caches_are_no_instruments(root: Path) -> None:
    (root / "__pycache__/1").mkdir(parents=True)
    (root / ".cache/1").mkdir(parents=True)
    assert set(read_library(root).definitions) == {"trial@1", "form@1"}


def test_other_files_beside_texts_and_plans_are_passed_over(root: Path) -> None:
    for name in ("trial/1/text/notes.txt", "trial/1/text/.en.json.json", "trial/1/text/en.json~", "plans/p/README.md"):
        (root / name).write_text("not JSON", "utf-8")
    library = read_library(root)
    assert set(library.texts("trial")) == {"en"}
    assert set(library.plans) == {"p@1"}


def test_a_library_may_have_no_plans(root: Path) -> None:
    shutil.rmtree(root / "plans")
    assert read_library(root).plans == {}


def duplicate_key(root: Path) -> None:
    (root / "trial/1/definition.json").write_text('{"id": "a", "id": "b"}', "utf-8")


def broken_bytes(root: Path) -> None:
    (root / "trial/1/text/en.json").write_bytes(b"\xff")


@pytest.mark.parametrize(
    ("spoil", "message"),
    [
        (lambda root: (root / "trial/1/definition.json").unlink(), "trial/1/definition.json: is missing"),
        (lambda root: (root / "trial/1").rename(root / "trial/2"), "trial/2/definition.json: id and version must be"),
        (lambda root: (root / "trial").rename(root / "other"), "other/1/definition.json: id and version must be"),
        (lambda root: shutil.rmtree(root / "trial/1/text"), "trial/1/text: holds no text"),
        (
            lambda root: (root / "trial/1/text/en.json").rename(root / "trial/1/text/es.json"),
            "trial/1/text/es.json: must be named after its language",
        ),
        (duplicate_key, 'trial/1/definition.json: the key "id" stands there twice'),
        (broken_bytes, "trial/1/text/en.json: not UTF-8"),
        (
            lambda root: write(root / "trial/1/definition.json", definition_data(kind="quiz")),
            'trial/1/definition.json kind: "quiz" is none of instrument, form',
        ),
        (
            lambda root: write(root / "trial/1/text/en.json", text_data(kind="quiz")),
            'trial/1/text/en.json kind: "quiz" is none of descriptive, licensed',
        ),
        (lambda root: (root / "plans/p").rename(root / "plans/q"), "plans/q/1.json: id and version must be"),
    ],
)
def test_one_bad_file_refuses_the_whole(root: Path, spoil: Callable[[Path], object], message: str) -> None:
    spoil(root)
    with pytest.raises(DataProblem) as caught:
        read_library(root)
    assert str(caught.value).startswith(message)


@pytest.mark.parametrize(
    ("plan", "message"),
    [
        (plan_data({"instrument": "none@1"}), "'none@1' is no instrument"),
        (plan_data({"instrument": "trial"}), "'trial' is no instrument"),
        (plan_data(PART, PART), "holds an instrument twice"),
        (plan_data(PART | {"minutes": 3}), "minutes: is not understood"),
        (plan_data(PART | {"items": ["1"]}), "trial@1 is asked whole"),
        (plan_data({"instrument": "form@1", "items": ["9"]}), "'9' is not an item of form@1"),
        (plan_data({"instrument": "form@1", "items": ["2"]}), "'2' hangs on '1', which is not there"),
        (plan_data({"instrument": "form@1", "items": ["2", "1"]}), "must stand in the order of the definition"),
        (plan_data(PART, phone_call=("trial@1/9",)), "'trial@1/9' is no item"),
        (plan_data(PART, phone_call=("none@1/1",)), "'none@1' is no instrument"),
    ],
)
def test_a_plan_that_asks_what_cannot_be_asked_is_refused(root: Path, plan: dict[str, Any], message: str) -> None:
    write(root / "plans/p/1.json", plan)
    with pytest.raises(DataProblem) as caught:
        read_library(root)
    assert caught.value.place.startswith("plans/p/1.json")
    assert message in str(caught.value)


def test_what_cannot_be_sent_cannot_enter_a_plan(root: Path) -> None:
    write(root / "trial/1/definition.json", definition_data(status="unverified"))
    with pytest.raises(DataProblem, match="trial@1 cannot be sent: it is unverified"):
        read_library(root)
