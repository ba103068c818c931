"""`yearmark set-up`, which `./run install` calls: asks at a terminal, takes no wrong answer, goes on where it was stopped."""

import re
import stat
from collections.abc import Iterator
from contextlib import contextmanager
from itertools import takewhile
from pathlib import Path

import pytest
from sqlalchemy import select

from server.config import read_settings
from server.installation.runtime import Runtime, open_runtime
from server.installation.set_up import check_ready
from server.models import StaffAccount
from server.queries.clock import the_clinic
from tests.cli.shell import CLINIC as HARBOUR
from tests.cli.shell import PASSWORD, Shell, refusal
from tests.cli.terminal import Terminal, at_a_terminal, plain_environment
from tests.structure.tree import ROOT

NAME = "Harbour Shoulder Clinic (invented)"
ADDRESS = "https://followup.harbour-shoulder.test"
CLINIC = (
    ("Name", NAME),
    ("Languages of the forms", "es, en"),
    ("Telephone", "555 0100"),
    ("Hours (es)", "lunes a viernes"),
    ("Hours (en)", ""),
    ("Telephone when closed", "555 0101"),
    ("Emergency number", "112"),
    ("Time zone", "Europe/Madrid"),
    ("Address that patients reach", ADDRESS),
    ("Sender of e-mail", "Harbour <follow-up@harbour-shoulder.test>"),
)
MAIL = (("Mail server", "127.0.0.1:2525"), ("Account at the mail server", "harbour"), ("Its password", "it's a secret"))
MANAGER = (("Name", "Dora Quill"), ("E-mail, by which to sign in", "dora@harbour-shoulder.test"))
LAST_LOOK = "All as it should be? Type yes, or the number of an answer to change"
ALL_RIGHT = ((LAST_LOOK, "yes"),)
PASSWORDS = (("Password", PASSWORD), ("The same once more", PASSWORD))
WRONG = {
    "Name": [("", "Enter the name.")],
    "Languages of the forms": [("sp", "is no list of languages")],
    "Telephone": [("the office", "is not a telephone number")],
    "Hours (es)": [("", "Enter the hours."), ("555 0100", "does not say when the telephone is answered")],
    "Time zone": [("Europe/Atlantis", "is not a time zone")],
    "Address that patients reach": [
        ("http://harbour.test", "such as https://"),
        ("harbour.test", "does not begin with https://"),
    ],
    "Sender of e-mail": [
        ("", "an address of its own"),
        ("follow-up@clinic.example", "belong to nobody"),
        ("follow-up@YOUR-DOMAIN", "belong to nobody"),
    ],
    "Mail server": [("localhost", "“localhost” is no mail server; write host:port")],
    "E-mail, by which to sign in": [("dora", "Enter an e-mail address.")],
}


def answers_in_the_readme() -> str:
    shown = re.findall(r"```toml\n(.*?)```", (ROOT / "README.md").read_text(encoding="utf-8"), re.DOTALL)
    (answers,) = [text for text in shown if "data_manager" in text]
    return str(answers).replace("YOUR-DOMAIN", "harbour-shoulder.test")


def started(folder: Path) -> Terminal:
    return at_a_terminal(plain_environment(folder), "set-up", "--data", str(folder / "data"))


def answer_all(terminal: Terminal, *pairs: tuple[str, str]) -> None:
    for question, text in pairs:
        terminal.see(f"{question} [en,es]: " if question.startswith("Languages") else f"{question}: ")
        terminal.type(text)


@contextmanager
def opened(folder: Path) -> Iterator[Runtime]:
    """With --data alone, as every command opens it."""
    runtime = open_runtime(read_settings({}, data=folder / "data"))
    yield runtime
    runtime.store.engine.dispose()


def managers(runtime: Runtime) -> list[str]:
    with runtime.store.reading() as session:
        return list(session.scalars(select(StaffAccount.email).where(StaffAccount.role == "data_manager")))


def test_each_wrong_answer_is_asked_again_and_the_clinic_can_start(tmp_path: Path) -> None:
    terminal = started(tmp_path)
    for question, right in (*CLINIC, *MAIL, *MANAGER):
        for answer, reason in WRONG.get(question, ()):
            answer_all(terminal, (question, answer))
            terminal.see(reason)
        answer_all(terminal, (question, right))
    answer_all(terminal, (LAST_LOOK, "14"))
    terminal.see("Type yes, or a number from 1 to 12.")
    answer_all(terminal, *ALL_RIGHT, ("Password", "short"))
    terminal.see("at least 15 characters")
    answer_all(terminal, ("Password", PASSWORD), ("The same once more", "another one altogether"))
    terminal.see("the two are not the same")
    answer_all(terminal, *PASSWORDS)
    terminal.see("What to do next:")
    assert terminal.end() == 0
    assert PASSWORD not in terminal.all and "a secret" not in terminal.all
    with opened(tmp_path) as runtime:
        check_ready(runtime)
        with runtime.store.reading() as session:
            clinic = the_clinic(session)
            kept = clinic.mode, clinic.name, clinic.languages, clinic.phone_hours, clinic.base_url
        assert kept == ("live", NAME, "es,en", {"es": "lunes a viernes"}, ADDRESS)
        settings = runtime.settings
        assert (settings.smtp, settings.smtp_user) == (("127.0.0.1", 2525), "harbour")
        assert (settings.smtp_password, settings.keys) == ("it's a secret", tmp_path / "data-keys")
        assert managers(runtime) == ["dora@harbour-shoulder.test"]
    assert stat.S_IMODE((tmp_path / "data" / "yearmark.env").stat().st_mode) == 0o600


def test_all_answers_are_shown_before_anything_is_written_and_one_is_changed_by_its_number(tmp_path: Path) -> None:
    terminal = started(tmp_path)
    answer_all(terminal, *CLINIC, *MAIL, *MANAGER)
    terminal.see("Nothing is written yet.")
    terminal.see("3  Telephone: 555 0100")
    terminal.see("11  Name of the data manager: Dora Quill")
    assert "127.0.0.1:2525, account harbour, its password not shown" in terminal.all
    answer_all(terminal, (LAST_LOOK, "3"), ("Telephone", "555 0199"))
    terminal.see("3  Telephone: 555 0199")
    answer_all(terminal, (LAST_LOOK, "2"), ("Languages of the forms", "en"), ("Hours (en)", "Mondays, 8 to 12"))
    terminal.see("4  Hours: en: Mondays, 8 to 12")
    answer_all(terminal, (LAST_LOOK, "10"), ("Mail server", "mailbox"))
    terminal.see("10  Mail server: mailbox, without an account")
    terminal.see(LAST_LOOK)
    assert not (tmp_path / "data").exists() and not (tmp_path / "data-keys").exists()
    terminal.type("yes")
    answer_all(terminal, *PASSWORDS)
    assert terminal.end() == 0 and "a secret" not in terminal.all
    with opened(tmp_path) as runtime, runtime.store.reading() as session:
        clinic = the_clinic(session)
        assert (clinic.phone, clinic.languages, clinic.phone_hours) == ("555 0199", "en", {"en": "Mondays, 8 to 12"})
        assert not runtime.settings.smtp_user, "its answers go with the mail server that was asked for"


@pytest.mark.parametrize("last", [CLINIC[4][0], LAST_LOOK, "Password"])
def test_stopped_at_any_question_nothing_was_written(tmp_path: Path, last: str) -> None:
    terminal = started(tmp_path)
    asked = (*CLINIC, ("Mail server", "mailbox"), *MANAGER, *ALL_RIGHT, *PASSWORDS)
    answer_all(terminal, *takewhile(lambda pair: pair[0] != last, asked))
    terminal.see(f"{last}: ")
    terminal.type("\x03")
    assert terminal.end() == 1 and "To go on: the same command" in terminal.all
    assert not (tmp_path / "data").exists() and not (tmp_path / "data-keys").exists()


def test_a_clinic_without_its_data_manager_is_asked_for_that_alone(live: Shell, tmp_path: Path) -> None:
    """As a power cut between the two leaves it."""
    (live.data / "yearmark.env").write_text("YEARMARK_SMTP=mailbox\n")
    terminal = started(tmp_path)
    terminal.see(f"{HARBOUR['--name']} is set up")
    answer_all(terminal, *MANAGER)
    terminal.see("1  Name of the data manager: Dora Quill")
    answer_all(terminal, *ALL_RIGHT, *PASSWORDS)
    assert terminal.end() == 0
    with opened(tmp_path) as runtime:
        assert managers(runtime) == ["dora@harbour-shoulder.test"]


def set_up_from(shell: Shell, text: str, password: str = PASSWORD) -> tuple[int, str]:
    file = shell.data.parent / "answers.toml"
    file.write_text(text)
    said = shell.run("set-up", "--data", str(shell.data), "--answers", str(file), given=f"{password}\n")
    assert "Traceback" not in said.output
    return said.exit_code, said.output


def test_the_answers_can_come_from_a_file_such_as_the_readme_shows(shell: Shell) -> None:
    code, said = set_up_from(shell, answers_in_the_readme())
    assert code == 0 and LAST_LOOK not in said
    with opened(shell.data.parent) as runtime:
        check_ready(runtime)
        with runtime.store.reading() as session:
            assert the_clinic(session).phone_hours == {
                "es": "lunes a viernes, de 8 a 16",
                "en": "Monday to Friday, 8 to 16",
            }
        assert managers(runtime) == ["dora@clinic.example"]


@pytest.mark.parametrize(
    ("password", "says"), [("short", "at least 15 characters"), ("Shoulder clinic", "would be guessed soon")]
)
def test_a_password_that_cannot_be_is_refused_before_anything_is_written(
    shell: Shell, password: str, says: str
) -> None:
    file = shell.data.parent / "password"
    file.write_text(f"{password}\n")
    answers = shell.data.parent / "answers.toml"
    answers.write_text(answers_in_the_readme())
    words = ("set-up", "--data", str(shell.data), "--answers", str(answers), "--password-file", str(file))
    said = refusal(shell.run(*words))
    assert says in said and "Nothing was written" in said
    assert sorted(each.name for each in shell.data.parent.iterdir()) == ["answers.toml", "password"]
    file.write_text(f"{PASSWORD}\n")
    assert shell.run(*words).exit_code == 0


def test_answers_for_a_clinic_that_exists_are_refused_and_it_says_what_to_do_next(shell: Shell) -> None:
    assert set_up_from(shell, answers_in_the_readme())[0] == 0
    changed = answers_in_the_readme().replace('"+34 600 000 000"', '"+34 911 111 111"')
    code, said = set_up_from(shell, changed, password="")
    assert code == 2 and "this clinic exists already; the answers were not read. Nothing was changed" in said
    assert "What to do next:" in said
    with opened(shell.data.parent) as runtime, runtime.store.reading() as session:
        assert the_clinic(session).phone == "+34 600 000 000"


@pytest.mark.parametrize(
    ("old", "new", "says"),
    [
        ("Europe/Madrid", "Europe/Atlantis", "--time-zone"),
        ("languages", "language", "has language, which is no question"),
        ('emergency_number = "112"', "", "does not say emergency_number"),
        ("[", "{", "cannot be read"),
        ("mail.clinic.example:587", "mail", "write host:port"),
        ("follow-up@harbour-shoulder.test", "follow-up@YOUR-DOMAIN", "belong to nobody"),
        ("follow-up@harbour-shoulder.test", "follow-up@clinic.example", "belong to nobody"),
        ("dora@clinic.example", "dora", "enter an e-mail address"),
    ],
)
def test_a_file_with_a_wrong_answer_sets_nothing_up(shell: Shell, old: str, new: str, says: str) -> None:
    code, said = set_up_from(shell, answers_in_the_readme().replace(old, new))
    assert code == 2 and says in said
    assert [each.name for each in shell.data.parent.iterdir()] == ["answers.toml"], "neither folder was made"


def test_without_a_terminal_and_without_a_file_it_says_how(shell: Shell) -> None:
    assert "--answers FILE" in refusal(shell.on_data("set-up"))


def test_of_a_clinic_that_was_restored_without_its_settings_only_the_mail_server_is_asked(
    live: Shell, tmp_path: Path
) -> None:
    assert live.clinic(mail_from="Harbour <follow-up@harbour-shoulder.test>").exit_code == 0
    manager = ("--email", "dora@harbour-shoulder.test", "--name", "Dora Quill", "--role", "data_manager")
    assert live.run("account", "--data", str(live.data), *manager, given=f"{PASSWORD}\n").exit_code == 0
    for command, place in (("backup", "copies"), ("backup-keys", "keys-apart")):
        assert live.on_data(command, "--to", str(tmp_path / place)).exit_code == 0
    (copy,), (keys,) = ((tmp_path / place).iterdir() for place in ("copies", "keys-apart"))
    restored = Shell(tmp_path / "new-machine" / "data")
    assert restored.on_data("restore", str(copy), "--keys", str(keys)).exit_code == 0
    assert "a live clinic needs its mail server" in refusal(restored.on_data("serve"))
    assert set_up_from(restored, answers_in_the_readme(), password="")[0] == 0
    with opened(restored.data.parent) as runtime:
        check_ready(runtime)
        with runtime.store.reading() as session:
            assert the_clinic(session).name == HARBOUR["--name"], "what the answers say of it is passed over"
        assert managers(runtime) == ["dora@harbour-shoulder.test"]


def test_a_demo_is_left_alone(demo: Shell) -> None:
    code, said = set_up_from(demo, answers_in_the_readme())
    assert code == 2 and "holds a demo" in said
    assert not (demo.data / "yearmark.env").exists()
