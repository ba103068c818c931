"""The e-mail channel: composes a notice and hands it to the mail server of the settings, or to the mailbox folder without one."""

from dataclasses import dataclass
from email.message import EmailMessage
from pathlib import Path
from typing import Protocol

from server.config import Settings
from server.reminders.channels.contract import Notice
from server.reminders.channels.email.compose import compose, sender_address
from server.reminders.channels.email.mailbox import MailboxTransport
from server.reminders.channels.email.smtp import SmtpTransport


class Transport(Protocol):
    def deliver(self, message: EmailMessage, *, sender: str, recipient: str) -> None: ...


@dataclass(frozen=True)
class EmailChannel:
    """`sender` is `name <address>`; ValueError when it holds no address."""

    sender: str
    transport: Transport

    def __post_init__(self) -> None:
        sender_address(self.sender)

    def send(self, notice: Notice) -> None:
        """Raises TransportProblem."""
        message = compose(notice, self.sender)
        self.transport.deliver(message, sender=sender_address(self.sender).addr_spec, recipient=notice.to)


def email_channel(settings: Settings) -> EmailChannel:
    if settings.smtp is None:
        return EmailChannel(settings.mail_from, MailboxTransport(mailbox_folder(settings)))
    host, port = settings.smtp
    return EmailChannel(settings.mail_from, SmtpTransport(host, port, settings.smtp_user, settings.smtp_password))


def mailbox_folder(settings: Settings) -> Path:
    return settings.data / "mailbox"
