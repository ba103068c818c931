"""`yearmark text`: a file is checked, its difference shown, installed once; every refusal names the place."""

import hashlib
import json
from pathlib import Path
from typing import Any

import pytest
from sqlalchemy import select, text

from server.installation.runtime import Runtime
from server.models import AuditEntry, InstalledText
from tests.cli.shell import Shell, refusal
from tests.texts.making import LICENCE, text_document, text_file

OPTIONS = {f"--{name.replace('_', '-')}": value for name, value in LICENCE.items()}


def written(folder: Path, data: bytes, name: str = "text.json") -> str:
    (folder / name).write_bytes(data)
    return str(folder / name)


def install(shell: Shell, path: str, *more: str, **changed: str) -> Any:
    fields = OPTIONS | {f"--{name.replace('_', '-')}": value for name, value in changed.items()}
    return shell.run(
        "text", "install", path, "--data", str(shell.data), *(w for pair in fields.items() for w in pair), *more
    )


def test_a_draft_filled_in_passes_the_check(shell: Shell) -> None:
    draft = json.loads(shell.run("text", "draft", "pain@1", "ar").stdout)
    assert (draft["text_id"], draft["kind"]) == ("pain@1/ar/licensed-NAME", "licensed")
    assert "there is no instrument" in refusal(shell.run("text", "draft", "knee@1", "ar"))


def test_a_check_says_what_fits_and_where_the_words_differ(shell: Shell, tmp_path: Path) -> None:
    data = text_file("pain@1", "ar")
    said = shell.run("text", "check", written(tmp_path, data))
    assert said.exit_code == 0
    assert "pain@1/ar/licensed-1 fits pain@1: 1 items. Language ar, read right to left." in said.stdout
    assert hashlib.sha256(data).hexdigest() in said.stdout
    assert "Beside the descriptive text pain@1/en/descriptive-1" in said.stdout
    assert "item 1\n" in said.stdout and "new:   invented item 1" in said.stdout


def test_a_file_that_does_not_fit_is_refused_with_every_item(shell: Shell, tmp_path: Path) -> None:
    document = text_document()
    del document["items"]["4"]
    document["items"]["5"]["options"] = {"yes": "Yes", "0": "No"}
    said = refusal(shell.run("text", "check", written(tmp_path, json.dumps(document).encode())))
    assert "nothing was changed:\n  item 4 is missing" in said
    assert "item 5 options yes is no code of item 5; its codes are 1, 0" in said


def test_a_text_is_installed_once_listed_and_compared_with_the_next(
    live: Shell, inside: Runtime, tmp_path: Path
) -> None:
    path = written(tmp_path, text_file())
    assert "sst@1/es/licensed-1 is installed and locked" in install(live, path).stdout
    assert "already installed; nothing was changed" in install(live, path).stdout
    listed = live.run("text", "list", "--data", str(live.data)).stdout
    assert "licensed     sst@1/es/licensed-1, Imagined Institute, IMG-2026-17, 1.0, 2026-01-31" in listed
    assert "descriptive  sst@1/en/descriptive-1  not decided on: not sent" in listed
    assert "oss@1              en         no text: cannot be asked" in listed
    newer = written(tmp_path, text_file(name="2", words="newer"), "newer.json")
    assert "--replaces" in refusal(install(live, newer, translation_version="2.0"))
    assert "Beside the installed text" in live.run("text", "check", newer, "--data", str(live.data)).stdout
    done = install(live, newer, "--replaces", "sst@1/es/licensed-1", translation_version="2.0")
    assert "sst@1/es/licensed-1 is no longer asked; it stays readable" in done.stdout
    with inside.store.reading() as session:
        assert len(session.scalars(select(InstalledText)).all()) == 2
        actions = session.scalars(select(AuditEntry.action)).all()
        assert actions.count("text:installed") == 2


def test_what_is_typed_wrongly_is_named_by_its_option(live: Shell, inside: Runtime, tmp_path: Path) -> None:
    path = written(tmp_path, text_file())
    assert "--dated-on must be a day as year-month-day" in refusal(install(live, path, dated_on="soon"))
    assert "SHA-256: the file has" in refusal(install(live, path, "--sha256", "0" * 64))
    with inside.store.reading() as session:
        assert session.scalars(select(InstalledText)).all() == []


@pytest.mark.parametrize(
    ("words", "says"),
    [
        (("sst", 'x"/../..'), "is no language tag such as en, es or pt-BR"),
        (("sst", "zz"), "zz is no code of ISO 639-1"),
        (("woos", "en"), "woos@1 is unverified: it cannot be asked, so no text can be installed for it"),
    ],
)
def test_no_draft_is_printed_that_could_never_be_installed(shell: Shell, words: tuple[str, ...], says: str) -> None:
    assert says in refusal(shell.run("text", "draft", *words))


def test_a_damaged_database_is_said_in_words(shell: Shell, demo: Shell, inside: Runtime) -> None:
    with inside.store.writing() as session:
        session.execute(text("DROP TABLE installed_text"))
    assert "installed_text" in refusal(shell.run("text", "list", "--data", str(shell.data)))
