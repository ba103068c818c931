"""`yearmark text` and `yearmark plan`: a file is checked, its difference shown, installed once; every refusal names the place."""

import hashlib
import json
from importlib.resources import files
from pathlib import Path
from typing import Any

from sqlalchemy import select

from server.models import AuditEntry, InstalledText
from server.runtime import Runtime
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
    assert "reminder-1: 7 days after the day of inviting, by email" in said


def test_a_plan_that_asks_what_cannot_be_sent_is_refused_with_its_place(live: Shell, tmp_path: Path) -> None:
    plan = standard_plan()
    plan["timepoints"][0]["parts"].append({"instrument": "oss@1"})
    path = written(tmp_path, json.dumps(plan).encode(), "plan.json")
    assert "timepoints[0] parts[4] instrument: oss@1 cannot be sent: it needs its owner's permission" in refusal(
        live.run("plan", "check", path)
    )
    for language in ("en", "es"):
        assert "permission" in refusal(live.run("plan", "check", path, "--data", str(live.data)))
        assert install(live, written(tmp_path, text_file("oss@1", language))).exit_code == 0
    assert "oss@1" in live.run("plan", "check", path, "--data", str(live.data)).stdout
    plan["timepoints"][0]["parts"].append({"instrument": "woos@1"})
    never = written(tmp_path, json.dumps(plan).encode(), "never.json")
    assert "woos@1 cannot be sent: it is unverified" in refusal(
        live.run("plan", "check", never, "--data", str(live.data))
    )


def test_a_plan_with_a_wrong_day_is_refused_with_its_place(shell: Shell, tmp_path: Path) -> None:
    plan = standard_plan()
    plan["timepoints"][1]["closes"] = 20
    said = refusal(shell.run("plan", "check", written(tmp_path, json.dumps(plan).encode())))
    assert "timepoints week-6: must go surgery, opens, invites, due, closes in this order" in said
