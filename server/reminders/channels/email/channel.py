"""The e-mail channel: composes a notice and hands it to the mail server of the settings, or to the mailbox folder."""

from dataclasses import dataclass
from email.message import EmailMessage
from pathlib import Path
from typing import Protocol

from server.config import Settings
from server.fields.sender import LOOKS_LIKE, NoSender, belongs_to_nobody, sender_address
from server.reminders.channels.contract import Notice, Preview
from server.reminders.channels.email.compose import compose
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

    def preview(self, notice: Notice) -> Preview:
        """Raises TransportProblem for an address that cannot be one."""
        message = compose(notice, self.sender)
        return Preview(notice.to, str(message["Subject"]), message.get_content().replace("\r\n", "\n"))

    def send(self, notice: Notice) -> None:
        """Raises TransportProblem."""
        message = compose(notice, self.sender)
        self.transport.deliver(message, sender=sender_address(self.sender).addr_spec, recipient=notice.to)


def email_channel(settings: Settings, clinics_sender: str | None) -> EmailChannel:
    """The clinic's own setting says who writes; without one the environment does."""
    sender = clinics_sender or settings.mail_from
    if settings.smtp is None:
        return EmailChannel(sender, MailboxTransport(mailbox_folder(settings)))
    host, port = settings.smtp
    return EmailChannel(sender, SmtpTransport(host, port, settings.smtp_user, settings.smtp_password))


def mail_problem(settings: Settings, clinics_sender: str | None, *, live: bool) -> str | None:
    """Why no mail may leave under these settings, and what to do; None when it may.

    A live clinic says where its mail goes: a reminder that lies in a folder and counts as sent would make its patient a
    non-responder. And it writes from an address of its own: nobody can answer one under `.example`.
    """
    named = "the clinic's sender of e-mail" if clinics_sender else "YEARMARK_MAIL_FROM"
    try:
        sender = sender_address(clinics_sender or settings.mail_from)
    except NoSender as problem:
        return f"{named} cannot be used: {problem}"
    if live and not settings.smtp_is_set:
        return (
            "a live clinic needs its mail server: set YEARMARK_SMTP to host:port; or to mailbox, if somebody sends what is "
            f"written to {mailbox_folder(settings)}"
        )
    if live and belongs_to_nobody(sender):
        return (
            "a live clinic writes from an address of its own, where somebody reads replies. "
            f"It would be {sender.addr_spec}, and addresses that end with .example belong to nobody: "
            f"set YEARMARK_MAIL_FROM, or --mail-from of yearmark clinic; {LOOKS_LIKE}"
        )
    return None


def mailbox_folder(settings: Settings) -> Path:
    return settings.data / "mailbox"
