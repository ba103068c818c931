"""`yearmark plan`: a file is checked, installed once, listed, and chosen for new follow-ups; every refusal names the place."""

import hashlib
import json
from importlib.resources import files
from pathlib import Path
from typing import Any

import pytest
from sqlalchemy import select

from server.installation.runtime import Runtime
from server.models import AuditEntry, InstalledPlan, InstalledText
from server.queries.clock import the_clinic
from tests.cli.shell import Shell, refusal
from tests.texts.making import LICENCE, text_file
from tests.timepoints.making import plan_file


def written(folder: Path, data: bytes, name: str = "plan.json") -> str:
    (folder / name).write_bytes(data)
    return str(folder / name)


def license_in(shell: Shell, folder: Path, spec: str, *languages: str) -> None:
    fields = [word for name, value in LICENCE.items() for word in (f"--{name.replace('_', '-')}", value)]
    for language in languages:
        path = written(folder, text_file(spec, language), "text.json")
        assert shell.run("text", "install", path, "--data", str(shell.data), *fields).exit_code == 0


def install(shell: Shell, path: str, *more: str) -> Any:
    return shell.run("plan", "install", path, "--data", str(shell.data), *more)


def kept(inside: Runtime) -> list[str]:
    with inside.store.reading() as session:
        return sorted(row.name for row in session.scalars(select(InstalledPlan)))


def standard_plan() -> dict[str, Any]:
    found: dict[str, Any] = json.loads((files("instruments") / "plans/standard/1.json").read_text())
    return found


def test_a_plan_is_checked_and_printed_with_items_and_minutes(shell: Shell, tmp_path: Path) -> None:
    path = written(tmp_path, json.dumps(standard_plan()).encode(), "plan.json")
    said = shell.run("plan", "check", path).stdout
    assert "standard@1" in said and "every timepoint can be asked" in said
    assert "baseline: 15 items, 4 minutes\n  pass@1, pain@1, sane@1, sst@1\n" in said
    assert "week-6: 7 items, 2 minutes" in said
    assert "opens day 28, invites day 35" in said
    assert "years 3–4, 6–9: 18–24 items, 3 minutes" in said
    assert "Its ladder is not used" in said


def test_a_plan_that_asks_what_cannot_be_sent_is_refused_with_its_place(live: Shell, tmp_path: Path) -> None:
    plan = standard_plan() | {"id": "ours"}
    plan["timepoints"][0]["parts"].append({"instrument": "oss@1"})
    path = written(tmp_path, json.dumps(plan).encode(), "plan.json")
    assert "timepoints[0] parts[4] instrument: oss@1 cannot be sent: it needs its owner's permission" in refusal(
        live.run("plan", "check", path)
    )
    for language in ("en", "es"):
        assert "permission" in refusal(live.run("plan", "check", path, "--data", str(live.data)))
        license_in(live, tmp_path, "oss@1", language)
    assert "oss@1" in live.run("plan", "check", path, "--data", str(live.data)).stdout
    plan["timepoints"][0]["parts"].append({"instrument": "woos@1"})
    never = written(tmp_path, json.dumps(plan).encode(), "never.json")
    assert "woos@1 cannot be sent: it is unverified" in refusal(
        live.run("plan", "check", never, "--data", str(live.data))
    )


def test_a_name_that_comes_with_the_program_is_refused_when_checked_for_a_clinic(live: Shell, tmp_path: Path) -> None:
    plan = standard_plan()
    plan["title"] = "Another follow-up"
    path = written(tmp_path, json.dumps(plan).encode(), "plan.json")
    said = refusal(live.run("plan", "check", path, "--data", str(live.data)))
    assert "standard@1 comes with the program and asks something else" in said


def test_a_plan_with_a_wrong_day_is_refused_with_its_place(shell: Shell, tmp_path: Path) -> None:
    plan = standard_plan()
    plan["timepoints"][1]["closes"] = 20
    said = refusal(shell.run("plan", "check", written(tmp_path, json.dumps(plan).encode())))
    assert "timepoints week-6: must go surgery, opens, invites, due, closes in this order" in said


def test_a_plan_is_installed_once_listed_and_chosen(live: Shell, inside: Runtime, tmp_path: Path) -> None:
    data = plan_file()
    path = written(tmp_path, data)
    said = install(live, path).stdout
    assert "baseline: 13 items, 3 minutes" in said and f"SHA-256 {hashlib.sha256(data).hexdigest()}" in said
    assert "harbour@1 is installed and locked" in said
    assert install(live, path).stdout == "harbour@1 is already installed; nothing was changed.\n"
    listed = live.run("plan", "list", "--data", str(live.data)).stdout.splitlines()
    assert listed[0] == (
        "standard@3         comes with the program; 0 running follow-ups; new follow-ups start with it"
    )
    assert listed[1].startswith("close@1            comes with the program; 0 running follow-ups")
    assert "harbour@1          installed " in listed[2] and "on the command line" in listed[2]
    done = live.run("plan", "default", "harbour@1", "--data", str(live.data)).stdout
    assert "New follow-ups start with harbour@1 from now on" in done
    assert "Not sent until a data manager decides on them, on the page Texts: pain@1/en/descriptive-1" in done
    assert "nothing was changed" in live.run("plan", "default", "harbour@1", "--data", str(live.data)).stdout
    with inside.store.reading() as session:
        assert the_clinic(session).default_plan == "harbour@1"
        actions = session.scalars(select(AuditEntry.action)).all()
    assert (actions.count("plan:installed"), actions.count("plan:default")) == (1, 1)


def test_the_close_plan_is_chosen_by_name(live: Shell, inside: Runtime) -> None:
    done = live.run("plan", "default", "close@1", "--data", str(live.data)).stdout
    assert "New follow-ups start with close@1 from now on" in done
    with inside.store.reading() as session:
        assert the_clinic(session).default_plan == "close@1"


def test_a_plan_that_asks_what_needs_permission_waits_for_the_text(
    live: Shell, inside: Runtime, tmp_path: Path
) -> None:
    path = written(tmp_path, plan_file("harbour", "1", "oss@1"))
    said = refusal(install(live, path))
    assert f"{path} cannot be installed; nothing was changed:\n  timepoints[0] parts[0] instrument: oss@1" in said
    assert kept(inside) == []
    license_in(live, tmp_path, "oss@1", "en", "es")
    assert install(live, path).exit_code == 0
    with inside.store.reading() as session:
        assert len(session.scalars(select(InstalledText)).all()) == 2
    assert kept(inside) == ["harbour@1"]


@pytest.mark.parametrize(
    ("data", "more", "says"),
    [
        (plan_file(title="Another"), (), "version: harbour@1 was installed on"),
        (plan_file("standard"), (), "id: standard@1 comes with the program"),
        (plan_file("new", "1", "knee@1"), (), "'knee@1' is no instrument"),
        (plan_file("new").replace(b'"due": 42', b'"due": 42, "due": 42'), (), 'the key "due" stands there twice'),
        (plan_file("new").replace(b'"due": 42', b'"due": NaN'), (), "timepoints[1] due: NaN is not a number"),
        (plan_file("new"), ("--sha256", "0" * 64), "it was changed on the way"),
        (b"\xff" + plan_file("new"), (), "the file is not UTF-8 (byte 0)"),
        (plan_file("new") + b" " * 200_000, (), "more than 200,000 bytes, and a plan has at most so many"),
    ],
    ids=range(8),
)
def test_what_cannot_be_installed_changes_nothing(
    live: Shell, inside: Runtime, tmp_path: Path, data: bytes, more: tuple[str, ...], says: str
) -> None:
    assert install(live, written(tmp_path, plan_file(), "first.json")).exit_code == 0
    said = refusal(install(live, written(tmp_path, data), *more))
    assert says in said and "nothing was changed" in said
    assert kept(inside) == ["harbour@1"]
    with inside.store.reading() as session:
        assert session.scalars(select(AuditEntry.action)).all().count("plan:installed") == 1


def test_the_program_s_own_plan_need_not_be_installed(live: Shell, inside: Runtime, tmp_path: Path) -> None:
    path = written(tmp_path, json.dumps(standard_plan()).encode())
    assert install(live, path).stdout == "standard@1 comes with the program; nothing was changed.\n"
    assert kept(inside) == []


def test_a_name_that_is_not_there_starts_nothing(live: Shell, inside: Runtime) -> None:
    said = refusal(live.run("plan", "default", "harbour@7", "--data", str(live.data)))
    assert (
        "harbour@7 cannot be used: there is none of this name; there are: close@1, standard@1, standard@2, standard@3. Nothing was changed"
        in said
    )
    with inside.store.reading() as session:
        assert the_clinic(session).default_plan == "standard@3"
