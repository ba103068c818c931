"""`yearmark questionnaire`: an instrument as FHIR R4, and what it refuses. The resource itself: tests/exports/test_questionnaire.py."""

import json

import pytest

from scoring.library import load_library
from server.exports.questionnaire import questionnaire
from tests.cli.shell import Shell, refusal


@pytest.mark.parametrize(
    ("words", "spec", "language"),
    [(("sst",), "sst@1", "en"), (("sst@1", "--language", "es"), "sst@1", "es"), (("constant",), "constant@1", "en")],
)
def test_it_is_printed_as_json(shell: Shell, words: tuple[str, ...], spec: str, language: str) -> None:
    said = shell.run("questionnaire", *words)
    library = load_library()
    assert said.exit_code == 0
    assert json.loads(said.stdout) == questionnaire(library.instrument(spec), library.texts(spec)[language])


@pytest.mark.parametrize(
    ("words", "says"),
    [
        (("nothing-like-it",), "nothing-like-it"),
        (("sst@9",), "there is no instrument"),
        (("constant", "--language", "es"), "constant@1 has no text in 'es'; there are: en"),
        (("sst", "--language", "\u0661"), "no text in '\\u0661'; there are: en, es"),
    ],
)
def test_what_is_not_there_is_refused_with_what_is(shell: Shell, words: tuple[str, ...], says: str) -> None:
    assert says in refusal(shell.run("questionnaire", *words))
