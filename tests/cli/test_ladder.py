"""`yearmark ladder`: a file is checked, installed once, listed and put in force; every refusal names the place."""

from pathlib import Path
from typing import Any

from sqlalchemy import select

from server.installation.runtime import Runtime
from server.models import InstalledLadder
from server.reminders.ladders import ladder_in_force
from tests.cli.shell import Shell, refusal
from tests.reminders.ladder_files import ladder_file, steps


def written(folder: Path, data: bytes) -> str:
    (folder / "ladder.json").write_bytes(data)
    return str(folder / "ladder.json")


def on_data(live: Shell, *words: str) -> Any:
    return live.run("ladder", *words, "--data", str(live.data))


def test_a_ladder_is_checked_installed_once_listed_and_chosen(live: Shell, inside: Runtime, tmp_path: Path) -> None:
    path = written(tmp_path, ladder_file("1", 0, 10, weeks=steps(-7)))
    checked = live.run("ladder", "check", path).stdout
    assert "harbour@1, Harbour reminders: every step can be carried out." in checked
    assert (
        "before surgery and years after surgery\n  day 0: on the day of inviting, by the way the patient prefers\n"
        in checked
    )
    assert "days, weeks and months after surgery\n  before 7: 7 days before the day of inviting" in checked
    assert "harbour@1 is installed and locked" in on_data(live, "install", path).stdout
    assert on_data(live, "install", path).stdout == "harbour@1 is already there; nothing was changed.\n"
    first, second = on_data(live, "list").stdout.splitlines()
    assert first == "standard@1         comes with the program; in force"
    assert "on the command line" in second and "in force" not in second
    assert (
        on_data(live, "choose", "harbour@1").stdout
        == "Reminders go by harbour@1 from now on, of running follow-ups too.\n"
    )
    assert on_data(live, "choose", "harbour@1").stdout == "harbour@1 is already in force; nothing was changed.\n"
    assert "; in force since 20" in on_data(live, "list").stdout.splitlines()[0]
    with inside.store.reading() as session:
        assert ladder_in_force(session).name == "harbour@1"


def test_what_cannot_be_used_is_refused_with_its_place(live: Shell, inside: Runtime, tmp_path: Path) -> None:
    path = written(tmp_path, ladder_file("1", 7, 7))
    assert "before_surgery[1] day: must be a whole number from 8" in refusal(live.run("ladder", "check", path))
    assert "nothing was changed:\n  before_surgery[1] day" in refusal(on_data(live, "install", path))
    assert "harbour@1 cannot be used: there is none of this name" in refusal(on_data(live, "choose", "harbour@1"))
    with inside.store.reading() as session:
        assert session.scalars(select(InstalledLadder)).all() == []
