"""What every instrument folder must keep. A new folder is covered by being there."""

import json
import re
from collections.abc import Iterator, Mapping
from pathlib import Path
from typing import Any

import pytest

import instruments
from scoring.answers import read_sheet
from scoring.data_reader import DataProblem
from scoring.definition import BASES, Definition, Item, Norm, Scale, Threshold
from scoring.library import load_library
from scoring.plan_parts import check_plan_parts
from scoring.score import score

ROOT = Path(next(iter(instruments.__path__)))
FOLDERS = sorted(path.parent for path in ROOT.glob("*/*/definition.json"))
LANGUAGES = ("en", "es")
# Scales whose lowest value no example may hold, because no source that was read confirms it.
NOT_CONFIRMED = {("promis-global", "mental"), ("promis-global", "mental_raw")}
UNCERTAIN = ("form_copy", "memory", "none")
LONGEST_SENTENCE = 15
HIGHEST_GRADE = 6

CITED = r"doi 10\.|\d{4};\d+|PMC\d|PMID \d|not confirmed$|\b(19|20)\d\d\b|nice\.org\.uk/"


def ids_of(folder: Path) -> str:
    return f"{folder.parent.name}@{folder.name}"


def name_of(value: Any) -> str:
    """The name of a parameter in the output of pytest."""
    if isinstance(value, Definition):
        return value.spec
    name = value.item if isinstance(value, Item) else value.scale
    return str(name)


DEFINITIONS = tuple(load_library().definitions.values())
NOT_READ = [
    (each, item)
    for each in DEFINITIONS
    for item in each.items
    if "not read" in item.topic or "not confirmed" in item.topic
]
every_folder = pytest.mark.parametrize("folder", FOLDERS, ids=ids_of)


def definition_of(folder: Path) -> Definition:
    return load_library().instrument(f"{folder.parent.name}@{folder.name}")


def texts_of(folder: Path) -> Mapping[str, Mapping[str, Any]]:
    return load_library().texts(definition_of(folder).spec)


def languages_of(folder: Path) -> tuple[str, ...]:
    """Both for what a patient can be sent, now or once its owner agrees; English alone for what is not verified."""
    return ("en",) if definition_of(folder).status == "unverified" else LANGUAGES


def words_of(text: Mapping[str, Any]) -> Iterator[tuple[str, str]]:
    """Everything a patient reads, with its place."""
    yield "title", text["title"]
    yield "recall", text["recall"]
    for name, item in text["items"].items():
        for member in ("stem", "hint", "low", "high", "not_applicable"):
            yield f"{name} {member}", item.get(member, "")
        yield from ((f"{name} option {code}", words) for code, words in item.get("options", {}).items())


def sentences(words: str) -> list[str]:
    return [each for each in re.split(r"[.?!]+(?:\s|$)", words) if each.strip()]


def examples_of(folder: Path) -> list[dict[str, Any]]:
    examples: list[dict[str, Any]] = json.loads((folder / "examples.json").read_text("utf-8"))["examples"]
    return examples


EXAMPLES = [(folder, example) for folder in FOLDERS for example in examples_of(folder)]


def test_there_are_the_instruments_of_the_first_plan() -> None:
    assert {folder.parent.name for folder in FOLDERS} >= {"sst", "pain", "sane", "pass", "since", "early"}


def test_there_are_the_instruments_of_the_command_line() -> None:
    named = "sst ases spadi quickdash dash oss woos worc wosi constant ucla penn sane pain pass promis-global"
    assert {folder.parent.name for folder in FOLDERS} >= {*named.split(), "satisfaction", "global-change"}


def test_the_library_holds_every_folder() -> None:
    assert set(load_library().definitions) == {f"{path.parent.name}@{path.name}" for path in FOLDERS}


@every_folder
def test_a_folder_holds_data_only(folder: Path) -> None:
    found = {str(path.relative_to(folder)) for path in folder.rglob("*") if path.is_file()}
    texts = {f"text/{each}.json" for each in languages_of(folder)}
    assert found == {"definition.json", "examples.json", "SOURCE.md", *texts}


@every_folder
def test_its_languages_are_there_and_marked_as_descriptive(folder: Path) -> None:
    texts = texts_of(folder)
    assert set(texts) == set(languages_of(folder))
    for language, text in texts.items():
        assert text["text_id"] == f"{definition_of(folder).spec}/{language}/descriptive-1"
        assert text["kind"] == "descriptive"


@every_folder
def test_sentences_are_short(folder: Path) -> None:
    read = [each for text in texts_of(folder).values() for _place, words in words_of(text) for each in sentences(words)]
    assert max(len(each.split()) for each in read) <= LONGEST_SENTENCE, max(read, key=lambda each: len(each.split()))


@every_folder
def test_the_only_placeholder_is_the_side_and_the_side_is_named_where_there_is_one(folder: Path) -> None:
    placeholders = {
        language: {each for _, words in words_of(text) for each in re.findall(r"\{.*?\}|[{}]", words)}
        for language, text in texts_of(folder).items()
    }
    assert placeholders == dict.fromkeys(languages_of(folder), {"{side}"} if definition_of(folder).side else set())


@every_folder
def test_english_reads_at_sixth_grade_or_below(folder: Path) -> None:
    """Flesch-Kincaid grade (Kincaid et al. 1975) over all questions and hints, syllables counted by vowel groups."""
    text = texts_of(folder)["en"]
    read = [each for place, words in words_of(text) if place.endswith(("stem", "hint")) for each in sentences(words)]
    words = [word for each in read for word in re.findall(r"[a-z]+", each.replace("{side}", "left").lower())]
    syllables = sum(max(1, len(re.findall(r"[aeiouy]+", re.sub(r"e$", "", word)))) for word in words)
    grade = 0.39 * len(words) / len(read) + 11.8 * syllables / len(words) - 15.59
    assert grade <= HIGHEST_GRADE


@pytest.mark.parametrize("folder", [each for each in FOLDERS if "es" in languages_of(each)], ids=ids_of)
def test_spanish_shows_numbers_with_a_comma_and_opens_its_questions(folder: Path) -> None:
    read = dict(words_of(texts_of(folder)["es"]))
    assert len(read) > 2
    assert [place for place, words in read.items() if re.search(r"\d\.\d", words)] == []
    assert [place for place, words in read.items() if words.count("?") != words.count("¿")] == []


@every_folder
def test_every_language_asks_of_the_same_members(folder: Path) -> None:
    """A hint in one language only would be another question."""
    shapes = [{place for place, words in words_of(text) if words} for text in texts_of(folder).values()]
    assert all(shape == shapes[0] for shape in shapes)


@every_folder
def test_the_source_is_told_in_prose(folder: Path) -> None:
    source = (folder / "SOURCE.md").read_text("utf-8")
    assert len(source.split()) >= 80
    assert "**Not known.**" in source
    assert f"version {folder.name}" in source.splitlines()[0]


@every_folder
def test_every_scale_has_an_example_with_and_without_a_value(folder: Path) -> None:
    examples = examples_of(folder)
    assert len(examples) >= 2
    for scale in definition_of(folder).scales:
        values = [example["scales"][scale.scale] for example in examples]
        assert None in values
        assert min(scale.range) in values or (folder.parent.name, scale.scale) in NOT_CONFIRMED
        assert max(scale.range) in values


@pytest.mark.parametrize(
    ("definition", "threshold"), [(each, one) for each in DEFINITIONS for one in each.thresholds], ids=name_of
)
def test_a_threshold_can_be_reached_and_says_whom_it_was_found_in(definition: Definition, threshold: Threshold) -> None:
    low, high = definition.by_scale[threshold.scale].range
    limits = (low, high) if threshold.kind == "pass" else (0, high - low)
    assert limits[0] < threshold.value < limits[1]
    assert re.search(CITED, threshold.citation), threshold.citation
    if threshold.n is None:
        words = (threshold.population, threshold.anchor, threshold.follow_up, threshold.note or "")
        assert any("not stated" in each for each in words), threshold


@pytest.mark.parametrize(
    ("definition", "norm"), [(each, one) for each in DEFINITIONS for one in each.norms], ids=name_of
)
def test_a_norm_lies_in_its_scale_and_names_its_source(definition: Definition, norm: Norm) -> None:
    low, high = definition.by_scale[norm.scale].range
    assert low < norm.mean < high
    assert re.search(CITED, norm.citation), norm.citation


@pytest.mark.parametrize(
    ("definition", "scale"),
    [(each, scale) for each in DEFINITIONS for scale in each.scales if scale.missing.needs],
    ids=name_of,
)
def test_a_rule_for_blanks_says_where_it_comes_from(definition: Definition, scale: Scale) -> None:
    """And a score that used one without a published source says so each time."""
    said = {
        "published": "Published",
        "form_copy": "form copy only",
        "memory": "from memory",
        "none": "No published rule",
    }
    assert said[scale.missing.basis].lower() in scale.missing.source.lower(), definition.spec
    assert scale.missing.basis not in UNCERTAIN or BASES[scale.missing.basis]


@every_folder
def test_what_is_not_verified_or_needs_permission_cannot_be_sent(folder: Path) -> None:
    definition = definition_of(folder)
    assert definition.sendable == (definition.status == "usable")
    if definition.status != "usable":
        assert f"`{definition.status}`" in (folder / "SOURCE.md").read_text("utf-8")
        with pytest.raises(DataProblem, match="cannot be sent"):
            check_plan_parts(
                {"timepoints": [{"parts": [{"instrument": definition.spec}]}], "phone_call": ["pain@1/1"]},
                load_library().definitions,
                "plan.json",
            )


@pytest.mark.parametrize(("definition", "item"), NOT_READ, ids=name_of)
def test_words_that_were_not_read_are_not_made_up(definition: Definition, item: Item) -> None:
    """Where a topic says that it was not read, so does what a patient would read."""
    assert definition.status != "usable"
    hints = [text["items"][item.item]["hint"] for text in load_library().texts(definition.spec).values()]
    assert hints == [hint for hint in hints if re.search("do not have|not known|No tenemos", hint)] != []


@every_folder
def test_what_is_warned_about_is_asked_of_everybody_or_of_all_who_said_yes(folder: Path) -> None:
    """A question that hangs on another may warn too, such as whether it was lately; that other one is asked of everybody."""
    definition = definition_of(folder)
    gates = [item.asked_if.item for item in definition.items if item.warning and item.asked_if]
    assert all(definition.by_item[gate].asked_if is None for gate in gates)


@pytest.mark.parametrize(
    ("folder", "example"), EXAMPLES, ids=[f"{folder.parent.name}: {each['title']}" for folder, each in EXAMPLES]
)
def test_worked_example_is_reproduced(folder: Path, example: dict[str, Any]) -> None:
    assert set(example) == {"title", "source", "answers", "scales"}
    assert len(example["source"]) >= 10
    definition = definition_of(folder)
    results = score(definition, read_sheet(definition, example["answers"]))
    assert {each.scale: each.value for each in results} == example["scales"]
