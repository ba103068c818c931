"""`yearmark.env` in the data folder: what it says holds for every command, below the environment; what is wrong in it stops the start."""

import stat
from pathlib import Path

import pytest

from server.config import ENVIRONMENT_FILE, SettingProblem, read_settings
from server.installation.environment_file import write_environment
from server.installation.runtime import open_runtime

MAIL = {"YEARMARK_SMTP": "mail.harbour.test:587", "YEARMARK_MAIL_FROM": 'Harbour "1" <a@harbour.test> # it\'s'}


def test_what_was_written_is_read_again_sign_by_sign_and_the_environment_goes_before_it(tmp_path: Path) -> None:
    path = write_environment(tmp_path, {**MAIL, "YEARMARK_SMTP_PASSWORD": " two words#"})
    assert stat.S_IMODE(path.stat().st_mode) == 0o600
    found = read_settings({}, data=tmp_path)
    assert (found.smtp, found.mail_from) == (("mail.harbour.test", 587), MAIL["YEARMARK_MAIL_FROM"])
    assert found.smtp_password == " two words#"
    assert read_settings({"YEARMARK_DATA": str(tmp_path)}) == found
    assert read_settings({"YEARMARK_SMTP": "127.0.0.1:25"}, data=tmp_path).smtp == ("127.0.0.1", 25)


def test_a_password_in_a_file_of_the_environment_goes_before_the_one_that_was_written(tmp_path: Path) -> None:
    write_environment(tmp_path, {"YEARMARK_SMTP_PASSWORD": "old"})
    (tmp_path / "secret").write_text("new\n")
    found = read_settings({"YEARMARK_SMTP_PASSWORD_FILE": str(tmp_path / "secret")}, data=tmp_path)
    assert found.smtp_password == "new"


@pytest.mark.parametrize(
    ("line", "says"),
    [
        ("YEARMARK_SMPT=mail:25", "line 2 names no setting"),
        ("YEARMARK_DATA=elsewhere", "line 2 names no setting"),
        ("YEARMARK_SMTP_PASSWORD=my secret", "line 2: write NAME='value'"),
        ("YEARMARK_SMTP_PASSWORD='my secret", "line 2: write NAME='value'"),
        ("YEARMARK_SMTP_PASSWORD", "line 2 names no setting"),
    ],
)
def test_a_wrong_line_stops_the_start_and_is_not_repeated(tmp_path: Path, line: str, says: str) -> None:
    (tmp_path / ENVIRONMENT_FILE).write_text(f"# a note\n{line}\n")
    with pytest.raises(SettingProblem, match=says) as problem:
        read_settings({}, data=tmp_path)
    assert "secret" not in str(problem.value)


def test_a_setting_that_cannot_be_is_refused_and_the_file_stays_as_it_was(tmp_path: Path) -> None:
    before = write_environment(tmp_path, MAIL).read_text()
    for wrong in ({"YEARMARK_SMTP": "mail"}, {"YEARMARK_SMTP_USER": "a\nYEARMARK_KEYS=b"}):
        with pytest.raises(SettingProblem):
            write_environment(tmp_path, wrong)
    assert (tmp_path / ENVIRONMENT_FILE).read_text() == before


def test_a_set_up_that_was_killed_while_it_wrote_its_first_key_begins_again(tmp_path: Path) -> None:
    half = tmp_path / "keys" / "field" / ".1234abcd.key.5678"
    half.parent.mkdir(parents=True, mode=0o700)
    half.write_bytes(b"half")
    half.chmod(0o600)
    runtime = open_runtime(read_settings({}, data=tmp_path))
    runtime.store.engine.dispose()
    assert len(runtime.keys.field_ring().keys) == 1
