"""The folder that stands in for a mail server."""

from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path

import pytest

from server.reminders.channels.contract import TransportProblem
from server.reminders.channels.email.channel import EmailChannel
from server.reminders.channels.email.mailbox import MailboxTransport, file_name, list_mailbox
from tests.reminders.test_email_text import NOTICE, SENDER


def folder_channel(folder: Path) -> EmailChannel:
    return EmailChannel(SENDER, MailboxTransport(folder))


def test_letters_are_listed_newest_first_as_they_were_written(tmp_path: Path) -> None:
    channel = folder_channel(tmp_path / "mailbox")
    channel.send(NOTICE)
    channel.send(replace(NOTICE, message_id="<8.ff@clinic.example>", written_at=datetime(2027, 5, 8, 8, tzinfo=UTC)))
    letters = list_mailbox(tmp_path / "mailbox")
    assert [letter.message_id for letter in letters] == ["<8.ff@clinic.example>", NOTICE.message_id]
    assert letters[1].to == "ada@patient.example"
    assert letters[1].subject == "Clínica Río: your shoulder follow-up, about 5 minutes"
    assert NOTICE.url in letters[1].text
    assert letters[1].sent_at == NOTICE.written_at


def test_a_message_sent_again_replaces_itself(tmp_path: Path) -> None:
    channel = folder_channel(tmp_path)
    channel.send(NOTICE)
    channel.send(replace(NOTICE, first_name="Ada again"))
    assert [file.name for file in tmp_path.iterdir()] == ["7.0123456789abcdef@clinic.example.eml"]
    assert "Ada again" in list_mailbox(tmp_path)[0].text


def test_a_folder_that_cannot_be_written_is_a_failure_that_may_pass(tmp_path: Path) -> None:
    (tmp_path / "mailbox").write_text("a file where the folder should be")
    with pytest.raises(TransportProblem) as problem:
        folder_channel(tmp_path / "mailbox").send(NOTICE)
    assert not problem.value.permanent


def test_a_missing_folder_has_no_letters_and_what_is_no_message_is_left_out(tmp_path: Path) -> None:
    assert list_mailbox(tmp_path / "none") == []
    (tmp_path / "half.eml").write_bytes(b"\x00\xffnot a message")
    folder_channel(tmp_path).send(NOTICE)
    assert len(list_mailbox(tmp_path)) == 1


@pytest.mark.parametrize("message_id", ["<../../etc/passwd@x>", "<.hidden@x>", "</abs@x>"])
def test_no_message_id_leads_out_of_the_folder(tmp_path: Path, message_id: str) -> None:
    assert (tmp_path / file_name(message_id)).parent == tmp_path
    assert not file_name(message_id).startswith((".", "/"))
