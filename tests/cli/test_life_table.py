"""`yearmark life-table`: a file is checked whole, installed once, listed, replaced and removed; every refusal is a sentence."""

from pathlib import Path

import pytest
from sqlalchemy import select

from server.models import AuditEntry, InstalledLifeTable
from server.outcomes.life_tables import LifeTableRefused, life_table_in_force, read_installed
from tests.cli.shell import Shell, refusal

TABLE = "sex,age,qx\nfemale,60,0.01\nfemale,61,0.02\nmale,60,0.03\nmale,61,0.04\n"


def written(folder: Path, text: str = TABLE, name: str = "table.csv") -> str:
    (folder / name).write_text(text, encoding="utf-8")
    return str(folder / name)


def test_a_table_is_installed_once_replaced_listed_and_removed(shell: Shell, tmp_path: Path) -> None:
    shell.clinic()
    path, other = written(tmp_path), written(tmp_path, TABLE.replace("0.04", "0.05"), "other.csv")
    said = [
        shell.on_data("life-table", path, "--source", "National tables, 2020"),
        shell.on_data("life-table", path, "--source", "National tables, 2020"),
        shell.on_data("life-table", other),
        shell.on_data("life-table"),
        shell.on_data("life-table", "--remove"),
        shell.on_data("life-table", "--remove"),
        shell.on_data("life-table"),
    ]
    assert [each.exit_code for each in said] == [0] * 7
    assert "Installed: women and men of ages 60 to 61, for every year." in said[0].stdout
    assert said[1].stdout == "This table is already in force; nothing was changed.\n"
    assert "It takes the place of: National tables, 2020." in said[2].stdout
    assert "--source says it in words" in said[2].stdout
    assert "National tables, 2020: installed" in said[3].stdout and "other.csv: installed" in said[3].stdout
    assert said[3].stdout.count("in force") == 1
    assert said[4].stdout == "Removed: other.csv. Deaths are compared with none.\n"
    assert said[5].stdout == "There is no life table; nothing was changed.\n"
    assert said[6].stdout.endswith("No life table is in force: deaths are compared with none.\n")
    inside = shell.runtime()
    with inside.store.reading() as session:
        actions = session.scalars(select(AuditEntry.action).where(AuditEntry.action.like("life_table:%"))).all()
        assert life_table_in_force(session) is None
    inside.store.engine.dispose()
    assert sorted(actions) == ["life_table:installed"] * 2 + ["life_table:removed"]


@pytest.mark.parametrize(
    ("text", "says"),
    [
        (TABLE.replace("0.03", "30"), "line 4: qx is 30"),
        (TABLE.replace("male,61,0.04\n", ""), "men have no age 61"),
        ("", "it is empty"),
    ],
)
def test_what_is_no_life_table_is_refused_and_the_one_in_force_stays(
    shell: Shell, tmp_path: Path, text: str, says: str
) -> None:
    shell.clinic()
    shell.on_data("life-table", written(tmp_path), "--source", "National tables, 2020")
    said = refusal(shell.on_data("life-table", written(tmp_path, text, "wrong.csv")))
    assert "wrong.csv cannot be installed; nothing was changed" in said
    assert says in said
    assert "National tables, 2020" in shell.on_data("life-table").stdout


def test_bytes_that_are_no_text_a_source_too_long_and_two_wishes_at_once_are_refused(
    shell: Shell, tmp_path: Path
) -> None:
    shell.clinic()
    (tmp_path / "bytes.csv").write_bytes(b"sex,age,qx\n\xff\xfe")
    assert "is not UTF-8 text" in refusal(shell.on_data("life-table", str(tmp_path / "bytes.csv")))
    path = written(tmp_path)
    assert "1 to 300 signs" in refusal(shell.on_data("life-table", path, "--source", "n" * 301))
    assert "not both" in refusal(shell.on_data("life-table", path, "--remove"))
    assert "No life table is in force" in shell.on_data("life-table").stdout


def test_a_table_that_was_altered_in_the_database_is_not_used(shell: Shell, tmp_path: Path) -> None:
    shell.clinic()
    shell.on_data("life-table", written(tmp_path))
    inside = shell.runtime()
    with inside.store.writing() as session:
        row = session.scalars(select(InstalledLifeTable)).one()
        row.content = row.content.replace("0.01", "0.001")
        with pytest.raises(LifeTableRefused, match="altered"):
            read_installed(row)
    inside.store.engine.dispose()
    assert "NOT USED" in shell.on_data("life-table").stdout
