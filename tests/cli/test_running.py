"""`yearmark serve`, `tick`, `account`, `migrate` and `export` on a clinic that is there."""

import json
import os
import signal
import socket
import subprocess
import sys
import urllib.request
from datetime import timedelta
from io import StringIO
from pathlib import Path
from types import SimpleNamespace

import pytest
from click.testing import _NamedTextIOWrapper
from sqlalchemy import select, text

from server.app import create_app
from server.cli import progress
from server.installation.runtime import Runtime
from server.models import AuditEntry, LadderChoice, Patient, StaffAccount, StaffAuthenticatorApp
from tests.cli.shell import PASSWORD, REFUSED, Shell, refusal
from tests.clinic_case import Case
from tests.stranger import best
from tests.texts.going_live import decide
from tests.timepoints.making import install, plan_file


def test_a_served_clinic_answers_and_stops_when_interrupted(live: Shell) -> None:
    command = [sys.executable, "-c", "from server.cli import main; main()", "serve", "--data", str(live.data)]
    environment = {**os.environ, **live.environment, "YEARMARK_PORT": "0"}
    with subprocess.Popen(command, env=environment, stdout=subprocess.PIPE, text=True) as server:
        try:
            assert server.stdout is not None
            address = server.stdout.readline().split()[2]
            with urllib.request.urlopen(f"{address}sign-in", timeout=30) as page:
                assert page.status == 200
            with urllib.request.urlopen(f"{address}health", timeout=30) as told:
                assert (told.headers["Cache-Control"], set(json.load(told).values())) == ("no-store", {"ok"})
        finally:
            server.send_signal(signal.SIGINT)
        assert server.wait(30) == 0


@pytest.mark.parametrize("command", ["serve", "tick"])
@pytest.mark.parametrize(
    ("missing", "says"),
    [("YEARMARK_SMTP", "set YEARMARK_SMTP to host:port"), ("YEARMARK_MAIL_FROM", "set YEARMARK_MAIL_FROM")],
)
def test_a_live_clinic_without_a_way_to_send_mail_does_not_start(
    live: Shell, command: str, missing: str, says: str
) -> None:
    del live.environment[missing]
    assert says in refusal(live.on_data(command))
    assert not (live.data / "mailbox").exists()


@pytest.mark.parametrize("command", ["serve", "tick"])
def test_a_clinic_whose_keys_went_missing_does_not_start(live: Shell, inside: Runtime, command: str) -> None:
    for file in (live.data / "keys").rglob("*.pem"):
        file.unlink()
    assert "bring the folder back from its backup" in refusal(live.on_data(command))


def test_a_time_zone_that_is_none_is_said_and_mended_by_another_set_up(live: Shell, inside: Runtime) -> None:
    with inside.store.writing() as session:
        session.execute(text("UPDATE clinic SET time_zone = 'Mars'"))
    for command in ("serve", "tick"):
        assert "'Mars'; run `yearmark clinic` again" in refusal(live.on_data(command))
    assert live.clinic().exit_code == 0
    assert live.on_data("tick").exit_code == 0


def test_a_port_that_is_taken_is_said_plainly(live: Shell) -> None:
    with socket.socket() as taken:
        taken.bind(("127.0.0.1", 0))
        taken.listen()
        live.environment["YEARMARK_PORT"] = str(taken.getsockname()[1])
        assert "cannot listen on 127.0.0.1" in refusal(live.on_data("serve"))


def test_a_folder_that_is_being_served_is_neither_served_again_nor_migrated(live: Shell, inside: Runtime) -> None:
    with inside.lock.serving():
        assert "stop it first" in refusal(live.on_data("serve"))
        assert "stop it first" in refusal(live.on_data("migrate"))


def test_a_tick_prints_what_it_did(live: Shell) -> None:
    done = json.loads(live.on_data("tick").stdout)
    assert (done["sent"], done["failed"], done["recorded"]) == (0, 0, 0)


def test_a_live_clinic_s_clock_is_never_set(live: Shell, inside: Runtime) -> None:
    for at in ("2020-01-01T08:00:00Z", "2126-01-01T08:00:00Z"):
        assert "this is a live clinic; its clock is the machine's" in refusal(live.on_data("tick", "--now", at))
    assert abs(inside.now() - inside.real_clock()) < timedelta(minutes=1)


def test_a_demo_s_clock_goes_forward_and_never_back(demo: Shell, inside: Runtime) -> None:
    assert demo.on_data("tick", "--now", "2126-03-01T08:00:00Z").exit_code == 0
    shown = inside.now()
    assert (shown.year, shown.month, shown.hour) == (2126, 3, 8)
    assert "only goes forward" in refusal(demo.on_data("tick", "--now", "2126-02-28T08:00:00Z"))
    assert inside.now() >= shown


def test_an_instant_that_is_none_is_refused(demo: Shell) -> None:
    assert "write an instant such as" in refusal(demo.on_data("tick", "--now", "tomorrow"))


def test_an_account_is_made_once_and_then_set_anew(live: Shell, inside: Runtime) -> None:
    said = live.account()
    assert (said.exit_code, said.stdout) == (0, "nora@harbour-shoulder.test can sign in as nurse.\n")
    assert live.account(email="Nora@harbour-shoulder.test").exit_code == 0
    with inside.store.reading() as session:
        assert [each.role for each in session.scalars(select(StaffAccount))] == ["nurse"]


def test_an_account_with_a_short_password_or_without_an_address_is_refused(live: Shell, inside: Runtime) -> None:
    assert "15" in refusal(live.account(password="short"))
    assert "This is no e-mail address" in refusal(live.account(PASSWORD, email="nora"))
    with inside.store.reading() as session:
        assert session.scalars(select(StaffAccount)).all() == []


def test_a_password_comes_from_the_standard_input_or_is_asked_for_twice_at_a_terminal(
    live: Shell, inside: Runtime, monkeypatch: pytest.MonkeyPatch
) -> None:
    words = (
        "account",
        "--data",
        str(live.data),
        "--email",
        "nora@harbour-shoulder.test",
        "--name",
        "Nora",
        "--role",
        "nurse",
    )
    piped = live.run(*words, given=f"{PASSWORD}\n")
    assert piped.exit_code == 0 and "Password" not in piped.stdout
    monkeypatch.setattr(_NamedTextIOWrapper, "isatty", lambda _self: True)
    assert live.run(*words, given=f"{PASSWORD}\nanother one\n").exit_code != 0
    asked = live.run(*words, given=f"{PASSWORD}\n{PASSWORD}\n")
    assert asked.exit_code == 0 and asked.stdout.count("Password:") == 1 and PASSWORD not in asked.stdout
    with inside.store.reading() as session:
        assert len(session.scalars(select(StaffAccount)).all()) == 1


def test_no_password_stands_on_a_command_line(live: Shell) -> None:
    given = ("--email", "nora@harbour-shoulder.test", "--name", "Nora", "--role", "nurse", "--password", PASSWORD)
    said = live.on_data("account", *given)
    assert said.exit_code == REFUSED and "No such option" in said.stderr


def test_a_lost_second_step_is_reset_and_the_trail_says_so(live: Shell, inside: Runtime) -> None:
    live.account()
    with inside.store.writing() as session:
        nurse = session.scalars(select(StaffAccount)).one()
        app = {"name": "phone", "secret": "x" * 32, "last_step": 0, "made_at": nurse.made_at}
        session.add(StaffAuthenticatorApp(account_id=nurse.id, **app))
    assert "no account for" in refusal(live.on_data("reset-second-step", "--email", "nobody@harbour-shoulder.test"))
    said = live.on_data("reset-second-step", "--email", "Nora@harbour-shoulder.test")
    assert said.exit_code == 0 and "at the next sign-in" in said.stdout
    with inside.store.reading() as session:
        assert session.scalars(select(StaffAuthenticatorApp)).all() == []
        assert (
            session.scalars(select(AuditEntry.action).order_by(AuditEntry.id.desc())).first() == "second-factor:reset"
        )


def test_no_password_is_asked_for_where_there_is_no_clinic(shell: Shell) -> None:
    words = ("--email", "nora@harbour-shoulder.test", "--name", "Nora", "--role", "nurse")
    assert "no clinic yet" in refusal(shell.on_data("account", *words))


def test_an_export_that_names_no_folder_is_told_how_to(live: Shell) -> None:
    assert "say where the files go: --out FOLDER" in refusal(live.on_data("export"))


def test_an_empty_folder_can_be_migrated_and_again(shell: Shell) -> None:
    assert [shell.on_data("migrate").stdout for _ in range(2)] == ["The database is up to date.\n"] * 2


def test_migrating_names_the_plans_whose_own_reminders_are_no_longer_read(live: Shell, inside: Runtime) -> None:
    case = Case(inside, create_app, inside.real_clock())
    install(case, plan_file(ladder={"steps": []}))
    told = live.on_data("migrate").stdout
    assert "harbour@1" in told and "standard@1" in told and "yearmark ladder" in told
    with case.store.writing() as session:
        session.add(LadderChoice(name="standard@1", chosen_at=case.now))
    assert live.on_data("migrate").stdout == "The database is up to date.\n"


def enrolled(runtime: Runtime, **changes: object) -> None:
    Case(runtime, create_app, runtime.real_clock()).enrol(**changes)


def exported(shell: Shell, folder: str, *more: str) -> dict[str, int]:
    out = shell.data.parent / folder
    said = shell.on_data("export", "--out", str(out), *more)
    assert (said.exit_code, said.stdout) == (0, f"15 files in {out}\n"), said.output
    counts: dict[str, int] = json.loads((out / "manifest.json").read_text(encoding="utf-8"))["counts"]
    return counts


def test_an_export_leaves_out_who_did_not_agree_to_research_unless_told_otherwise(live: Shell, inside: Runtime) -> None:
    enrolled(inside)
    enrolled(inside, first_name="Ben", last_name="Brook", email="ben@patient.example", consents=("contact",))
    counts = exported(live, "research")
    assert (counts["patients"], counts["left_out_no_research_consent"]) == (1, 1)
    counts = exported(live, "all", "--all-patients")
    assert (counts["patients"], counts["left_out_no_research_consent"]) == (2, 0)


def test_a_long_export_shows_how_far_it_is_on_a_terminal(
    live: Shell, inside: Runtime, monkeypatch: pytest.MonkeyPatch
) -> None:
    class Terminal(StringIO):
        def isatty(self) -> bool:
            return True

    enrolled(inside)
    enrolled(inside, first_name="Ben", last_name="Brook", email="ben@patient.example")
    terminal = Terminal()
    monkeypatch.setattr(progress, "sys", SimpleNamespace(stderr=terminal))
    exported(live, "files")
    assert "Operations" in terminal.getvalue() and "2/2" in terminal.getvalue()


def test_a_folder_with_something_else_in_it_is_not_overwritten(live: Shell, tmp_path: Path) -> None:
    (tmp_path / "letters").mkdir()
    (tmp_path / "letters" / "mine.txt").write_text("mine")
    said = refusal(live.on_data("export", "--out", str(tmp_path / "letters")))
    assert "nothing was changed" in said
    assert [file.name for file in (tmp_path / "letters").iterdir()] == ["mine.txt"]


def test_an_export_without_a_patient_s_key_names_the_folder_and_writes_nothing(live: Shell, inside: Runtime) -> None:
    enrolled(inside)
    with inside.store.reading() as session:
        handle = session.scalars(select(Patient.handle)).one()
    answer_year_1(live, inside)
    inside.keys.erase_patient_key(handle)
    said = refusal(live.on_data("export", "--out", str(live.data.parent / "out")))
    assert "from its backup" in said
    assert str(live.data / "keys") in said
    assert not (live.data.parent / "out").exists()


def answer_year_1(shell: Shell, runtime: Runtime) -> None:
    case = Case(runtime, create_app, runtime.real_clock())
    with runtime.store.reading() as session:
        patient_id = session.scalars(select(Patient.id)).one()
    decide(case)
    case.publish(patient_id)
    phone = case.phone(patient_id)
    phone.fetch()
    assert phone.send(phone.seal(phone.payload(phone.sheet["forms"][0], best, case.now)))
    assert json.loads(shell.on_data("tick").stdout)["recorded"] == 1
