"""A plain message to one member of staff, by the channel's own mail server and sender."""

from datetime import UTC, datetime
from pathlib import Path

import pytest

from server.config import read_settings
from server.reminders.channels.contract import TransportProblem
from server.reminders.channels.email.compose import PlainMail
from server.reminders.channels.email.mailbox import list_mailbox
from server.reminders.staff_mail import new_message_id, send_to_staff
from tests.reminders.peer import mail_server

MAIL = PlainMail(
    "<1.test@clinic.example>", "nora@clinic.test", "es", "Una cosa\nmás", "Dos líneas.\nFin.\n",
    datetime(2027, 5, 1, 8, tzinfo=UTC),
)  # fmt: skip


def test_it_goes_to_the_mail_server_of_the_settings_from_the_clinics_sender() -> None:
    with mail_server() as peer:
        settings = read_settings({"YEARMARK_SMTP": f"127.0.0.1:{peer.port}"})
        send_to_staff(settings, "Clínica <seguimiento@clinica.test>", MAIL)
        send_to_staff(settings, None, MAIL)
    named, by_environment = peer.taken
    assert str(named["Message-ID"]) == str(by_environment["Message-ID"]) == MAIL.message_id
    assert str(named["From"]) == "Clínica <seguimiento@clinica.test>"
    assert str(by_environment["From"]) == settings.mail_from
    assert (str(named["To"]), str(named["Subject"])) == ("nora@clinic.test", "Una cosa más")
    assert named.get_content().replace("\r\n", "\n") == MAIL.text


def test_a_refused_address_is_the_channels_own_problem() -> None:
    with mail_server() as peer:
        peer.at_recipient = "550 nora is unknown"
        settings = read_settings({"YEARMARK_SMTP": f"127.0.0.1:{peer.port}"})
        with pytest.raises(TransportProblem) as problem:
            send_to_staff(settings, None, MAIL)
    assert problem.value.permanent
    assert "nora" not in problem.value.summary


def test_without_a_mail_server_it_lies_in_the_mailbox_folder(tmp_path: Path) -> None:
    send_to_staff(read_settings({"YEARMARK_DATA": str(tmp_path)}), None, MAIL)
    assert [(letter.to, letter.message_id) for letter in list_mailbox(tmp_path / "mailbox")] == [
        (MAIL.to, MAIL.message_id)
    ]


def test_a_new_message_id_is_the_clinics_and_never_the_same() -> None:
    first, second = (new_message_id("https://followup.clinica.test:8443") for _ in range(2))
    assert first != second
    assert first.endswith("@followup.clinica.test>")
