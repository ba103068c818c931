"""`yearmark rescore`: a summary to read, a CSV file with one row a change, and nothing written by a check."""

import csv
import stat
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from sqlalchemy import select, update

from server.app import create_app
from server.installation.runtime import Runtime
from server.models import Patient, Score
from tests.cli.shell import Shell, refusal
from tests.clinic_case import Case
from tests.stranger import best

# The command, on a disk that is full once the report has its head: from when it is opened no file grows beyond that.
FULL_DISK = """
import io, os, resource, signal, sys
from server.cli import main, rescore_report
from server.exports.cells import Table

head = io.StringIO(newline="")
Table(head, rescore_report.HEAD)
really_open = os.open

def open_then_full(path, *given, **more):
    found = really_open(path, *given, **more)
    if str(path).endswith("changes.csv"):
        resource.setrlimit(resource.RLIMIT_FSIZE, (len(head.getvalue()) + 20, resource.RLIM_INFINITY))
    return found

signal.signal(signal.SIGXFSZ, signal.SIG_IGN)
os.open = open_then_full
main(sys.argv[1:])
"""


@pytest.fixture
def answered(demo: Shell, inside: Runtime) -> Iterator[Runtime]:
    """One patient's form of the first year, with its six scores."""
    assert demo.data.exists()
    case = Case(inside, create_app, inside.real_clock())
    phone = case.phone(case.enrol())
    phone.fetch()
    phone.send(phone.seal(phone.payload(phone.sheet["forms"][0], best, case.now)))
    assert case.process().recorded == 1
    yield inside


def spoil(runtime: Runtime, **values: Any) -> None:
    with runtime.store.writing() as session:
        session.execute(update(Score).where(Score.scale == "total").values(**values))


def rows(file: Path) -> list[dict[str, str]]:
    with file.open(encoding="utf-8", newline="") as written:
        return list(csv.DictReader(written, strict=True))


def values(runtime: Runtime) -> list[float | None]:
    with runtime.store.reading() as session:
        return list(session.scalars(select(Score.value).where(Score.scale == "total").order_by(Score.id)))


def test_where_nothing_changed_it_says_how_many_scores_were_compared(shell: Shell, answered: Runtime) -> None:
    said = shell.on_data("rescore")
    assert said.exit_code == 0
    assert "1 response, 6 scores compared" in said.stdout
    assert "6  unchanged (6 by scoring version 1)" in said.stdout
    assert said.stdout.endswith("Nothing had to be changed.\n")
    assert said.stderr == ""  # the progress bar is for a terminal
    assert len(values(answered)) == 1


def test_a_check_says_what_would_change_and_writes_nothing(shell: Shell, answered: Runtime) -> None:
    spoil(answered, value=3, scoring_version="0")
    said = shell.on_data("rescore", "--check")
    assert said.exit_code == 0
    assert "1  changed value\n" in said.stdout
    assert "sst total: changed value, 1 (new minus old +9). Why: scoring version 0 → 1" in said.stdout
    assert "nothing was written" in said.stdout
    assert values(answered) == [3]


def test_the_report_has_a_row_for_each_change_with_old_and_new(shell: Shell, answered: Runtime, tmp_path: Path) -> None:
    spoil(answered, value=3.5, scoring_version="0", method="=1+1")
    report = tmp_path / "changes.csv"
    assert shell.on_data("rescore", "--report", str(report)).exit_code == 0
    assert values(answered) == [3.5, 12]
    (row,) = rows(report)
    told = {name: row[name] for name in ("side", "timepoint", "attempt", "instrument", "scale", "change", "why")}
    assert told == {
        "side": "right",
        "timepoint": "year-1",
        "attempt": "1",
        "instrument": "sst",
        "scale": "total",
        "change": "changed value",
        "why": "scoring version 0 → 1; instrument version the same; method words changed",
    }
    assert (row["old_value"], row["new_value"], row["old_scoring_version"], row["new_scoring_version"]) == (
        "3.5",
        "12",
        "0",
        "1",
    )
    assert row["old_method"] == "'=1+1"  # a spreadsheet does not run it
    assert row["study_number"].startswith("Y-")
    assert stat.S_IMODE(report.stat().st_mode) == 0o600


def test_a_report_is_never_written_over_a_file(shell: Shell, answered: Runtime, tmp_path: Path) -> None:
    spoil(answered, value=3)
    report = tmp_path / "changes.csv"
    report.write_text("the list of an earlier run")
    assert "is there already; nothing was changed" in refusal(shell.on_data("rescore", "--report", str(report)))
    assert report.read_text() == "the list of an earlier run"
    assert values(answered) == [3]


def test_a_report_that_cannot_be_written_is_said_before_anything_is_changed(shell: Shell, answered: Runtime) -> None:
    spoil(answered, value=3)
    report = shell.data / "no-such-folder" / "changes.csv"
    assert "cannot be written: No such file or directory" in refusal(shell.on_data("rescore", "--report", str(report)))
    assert values(answered) == [3]


def test_a_change_that_cannot_be_listed_is_not_made(shell: Shell, answered: Runtime, tmp_path: Path) -> None:
    """A full disk: the head of the report fits, its first row does not."""
    spoil(answered, value=3)
    command = [sys.executable, "-c", FULL_DISK, "rescore", "--data", str(shell.data)]
    done = subprocess.run(
        [*command, "--report", str(tmp_path / "changes.csv")], check=False, capture_output=True, text=True, timeout=60
    )
    assert done.returncode == 2
    assert "cannot be written on: File too large. Every change that was made is in it" in done.stderr
    assert values(answered) == [3]
    assert shell.on_data("rescore", "--report", str(tmp_path / "again.csv")).exit_code == 0
    (row,) = rows(tmp_path / "again.csv")
    assert (row["old_value"], values(answered)) == ("3", [3, 12])


def test_a_program_that_is_older_than_the_scores_changes_nothing(shell: Shell, answered: Runtime) -> None:
    spoil(answered, value=3, scoring_version="10")
    said = refusal(shell.on_data("rescore"))
    assert "some scores were made by version 10; nothing was changed" in said
    assert values(answered) == [3]


def test_an_endless_score_stops_the_export_in_words_and_is_mended(
    shell: Shell, answered: Runtime, tmp_path: Path
) -> None:
    spoil(answered, value=float("inf"))
    said = refusal(shell.on_data("export", "--out", str(tmp_path / "set"), "--all-patients"))
    assert "sst@1 total of response 1 is no number; nothing was written" in said
    assert shell.on_data("rescore", "--report", str(tmp_path / "changes.csv")).exit_code == 0
    (row,) = rows(tmp_path / "changes.csv")
    assert (row["old_value"], row["new_value"]) == ("inf", "12")
    assert shell.on_data("export", "--out", str(tmp_path / "set"), "--all-patients").exit_code == 0


def test_what_was_left_alone_is_said_and_what_can_be_mended_gives_exit_code_1(
    shell: Shell, answered: Runtime, tmp_path: Path
) -> None:
    with answered.store.writing() as session:
        patient = session.scalars(select(Patient)).one()
        answered.keys.erase_patient_key(patient.handle)
    said = shell.on_data("rescore", "--report", str(tmp_path / "changes.csv"))
    assert said.exit_code == 1
    assert "1  left alone: the patient's key is not in the key folder; bring it back" in said.stdout
    (row,) = rows(tmp_path / "changes.csv")
    assert (row["change"], row["scale"], row["new_value"]) == ("left alone", "", "")
    with answered.store.writing() as session:
        session.scalars(select(Patient)).one().erased_at = answered.real_clock()
    said = shell.on_data("rescore")
    assert (said.exit_code, "1  left alone: the patient was erased" in said.stdout) == (0, True)


def test_it_refuses_where_no_clinic_is(shell: Shell) -> None:
    assert "no clinic yet" in refusal(shell.on_data("rescore"))
