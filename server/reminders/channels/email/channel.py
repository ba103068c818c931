"""The e-mail channel: composes a notice and hands it to the mail server of the settings, or to the mailbox folder."""

from dataclasses import dataclass
from email.errors import MessageError
from email.message import EmailMessage
from pathlib import Path
from typing import Protocol

from server.config import Settings
from server.reminders.channels.contract import Notice
from server.reminders.channels.email.compose import compose, sender_address
from server.reminders.channels.email.mailbox import MailboxTransport
from server.reminders.channels.email.smtp import SmtpTransport

SENDER_LOOKS_LIKE = 'write name <address>, for example YEARMARK_MAIL_FROM="Shoulder clinic <follow-up@YOUR-DOMAIN>"'


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


def mail_problem(settings: Settings, *, live: bool) -> str | None:
    """Why no mail may leave under these settings, and what to do; None when it may.

    A live clinic says where its mail goes: a reminder that lies in a folder and counts as sent would make its patient a
    non-responder. And it writes from an address of its own: nobody can answer one under `.example` (RFC 2606).
    """
    try:
        sender = sender_address(settings.mail_from)
    except (ValueError, IndexError, MessageError):
        return f"YEARMARK_MAIL_FROM is {settings.mail_from!r}, which is no sender; {SENDER_LOOKS_LIKE}"
    if live and not settings.smtp_said:
        return (
            "a live clinic needs its mail server: set YEARMARK_SMTP to host:port; or to mailbox, if somebody sends what is "
            f"written to {mailbox_folder(settings)}"
        )
    if live and sender.domain.lower().endswith(".example"):
        return (
            "a live clinic writes from an address of its own, where somebody reads replies. YEARMARK_MAIL_FROM is "
            f"{sender.addr_spec}, and addresses that end with .example belong to nobody: set YEARMARK_MAIL_FROM; {SENDER_LOOKS_LIKE}"
        )
    return None


def mailbox_folder(settings: Settings) -> Path:
    return settings.data / "mailbox"
