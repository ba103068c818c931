"""Folders and databases that a command cannot work on: a plain sentence and exit code 2, never a traceback."""

import sys
from collections.abc import Callable
from pathlib import Path

import pytest
from click.testing import Result
from sqlalchemy import text

from server.installation import set_up
from server.installation.runtime import Runtime
from server.store.migrate import current_revision, revisions
from tests.cli.shell import NOBODY_THERE, Shell, refusal

Call = Callable[[Shell], Result]
ON_A_CLINIC: dict[str, Call] = {
    "serve": lambda shell: shell.on_data("serve"),
    "tick": lambda shell: shell.on_data("tick"),
    "tick-now": lambda shell: shell.on_data("tick", "--now", "2027-03-01T08:00:00Z"),
    "export": lambda shell: shell.on_data("export", "--out", str(shell.data.parent / "out")),
    "account": lambda shell: shell.account(),
}
ALL: dict[str, Call] = {
    **ON_A_CLINIC,
    "clinic": lambda shell: shell.clinic(),
    "migrate": lambda shell: shell.on_data("migrate"),
    "demo": lambda shell: shell.on_data("demo", "--port", "0"),
}
each_on_a_clinic = pytest.mark.parametrize("call", ON_A_CLINIC.values(), ids=ON_A_CLINIC)
each = pytest.mark.parametrize("call", ALL.values(), ids=ALL)


@each_on_a_clinic
def test_a_folder_that_is_not_there_is_refused_and_not_made(shell: Shell, call: Call) -> None:
    assert "no clinic yet" in refusal(call(shell))
    assert not shell.data.exists()


@each_on_a_clinic
def test_an_empty_folder_is_refused_and_left_empty(shell: Shell, call: Call) -> None:
    shell.data.mkdir()
    assert "no clinic yet" in refusal(call(shell))
    assert list(shell.data.iterdir()) == []


@each_on_a_clinic
def test_a_folder_whose_database_was_never_migrated_is_refused(shell: Shell, call: Call) -> None:
    shell.runtime().store.engine.dispose()
    assert "no clinic yet" in refusal(call(shell))


@each_on_a_clinic
def test_a_migrated_folder_without_a_clinic_is_refused(shell: Shell, call: Call) -> None:
    assert shell.on_data("migrate").exit_code == 0
    assert "no clinic yet" in refusal(call(shell))


@each_on_a_clinic
def test_a_database_of_an_earlier_version_is_refused_until_it_is_migrated(
    live: Shell, call: Call, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(set_up, "revisions", lambda: [*revisions(), "next"])
    assert "run `yearmark migrate` first" in refusal(call(live))


@each
def test_a_database_of_a_newer_version_is_refused_and_left_alone(live: Shell, inside: Runtime, call: Call) -> None:
    with inside.store.writing() as session:
        session.execute(text("UPDATE alembic_version SET version_num = '9999'"))
        session.execute(text("UPDATE clinic SET mode = 'demo' WHERE :demo"), {"demo": call is ALL["demo"]})
    assert "newer version" in refusal(call(live))
    assert current_revision(inside.store.engine) == "9999"


@each
def test_a_database_server_that_does_not_answer_is_named_without_its_password(live: Shell, call: Call) -> None:
    live.environment["YEARMARK_DATABASE_URL"] = NOBODY_THERE
    said = refusal(call(live))
    assert "the database cannot be used" in said
    assert "secret-word" not in said


@each
def test_a_file_that_is_no_database_is_refused(live: Shell, call: Call) -> None:
    for file in live.data.glob("yearmark.sqlite3*"):
        file.unlink()
    (live.data / "yearmark.sqlite3").write_bytes(b"a letter that somebody saved here by mistake " * 200)
    assert "the database cannot be used" in refusal(call(live))


@each
@pytest.mark.parametrize("url", ["nonsense", "mysql://a:secret-word@b/c", "postgresql://a:secret-word@b:port/c"])
def test_an_address_of_no_database_is_refused_and_not_repeated(live: Shell, call: Call, url: str) -> None:
    live.environment["YEARMARK_DATABASE_URL"] = url
    said = refusal(call(live))
    assert "YEARMARK_DATABASE_URL is no address" in said
    assert "secret-word" not in said


@each
def test_a_missing_driver_is_called_that_and_no_wrong_address(
    live: Shell, call: Call, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setitem(sys.modules, "psycopg", None)
    live.environment["YEARMARK_DATABASE_URL"] = NOBODY_THERE
    said = refusal(call(live))
    assert "driver for it is not installed" in said and "--editable '.[postgresql]'" in said
    assert "no address" not in said and "secret-word" not in said


@each
def test_a_setting_that_cannot_be_used_is_named(live: Shell, call: Call) -> None:
    live.environment["YEARMARK_PORT"] = "many"
    assert "YEARMARK_PORT is 'many'" in refusal(call(live))


@pytest.mark.parametrize("command", ["clinic", "migrate", "demo"])
def test_a_data_folder_below_a_file_is_refused(shell: Shell, command: str) -> None:
    Path(shell.data.parent / "file").write_text("")
    shell.data = shell.data.parent / "file" / "data"
    assert "cannot be read: Not a directory" in refusal(ALL[command](shell))


def test_a_demo_refuses_a_live_folder_before_it_touches_the_schema(live: Shell, inside: Runtime) -> None:
    with inside.store.writing() as session:
        session.execute(text("DELETE FROM alembic_version"))  # as an earlier version's would be: not this version's
    assert "holds a live clinic" in refusal(ALL["demo"](live))
    assert current_revision(inside.store.engine) is None
