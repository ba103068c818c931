"""The demo's mailbox: what would have been sent, read from its folder. A letter is text from a file and is shown as text."""

import re
from dataclasses import dataclass
from datetime import datetime
from email.message import EmailMessage
from zoneinfo import ZoneInfo

from sqlalchemy import select
from sqlalchemy.orm import Session

from server.config import Settings
from server.models import Link, Patient
from server.reminders.channels.email.channel import mailbox_folder
from server.reminders.channels.email.mailbox import MailboxLetter, MailboxTransport, list_mailbox

# The link of a message, whatever port the demo had when it was written.
LINK = re.compile(r"https?://[^\s#]+/p/#(?P<token>[A-Z2-7]{28})")


@dataclass(frozen=True)
class Piece:
    """A run of a letter's text; with `token` it is a link to the phone app."""

    text: str
    token: str | None = None


@dataclass(frozen=True)
class Letter:
    name: str
    sent_at: str
    to: str
    subject: str
    pieces: tuple[Piece, ...]


@dataclass(frozen=True)
class PastMailbox:
    """The mailbox folder while the past is played: only letters since `keep_from` are kept, older ones were read and thrown away."""

    settings: Settings
    keep_from: datetime

    def deliver(self, message: EmailMessage, *, sender: str, recipient: str) -> None:
        if message["Date"].datetime >= self.keep_from:
            MailboxTransport(mailbox_folder(self.settings)).deliver(message, sender=sender, recipient=recipient)


def letters(settings: Settings, zone: ZoneInfo) -> list[Letter]:
    """Newest first; `sent_at` is the clinic's time."""
    return [_letter(each, zone) for each in list_mailbox(mailbox_folder(settings))]


def _letter(found: MailboxLetter, zone: ZoneInfo) -> Letter:
    return Letter(
        name=found.name,
        sent_at=f"{found.sent_at.astimezone(zone):%Y-%m-%d %H:%M}",
        to=found.to,
        subject=found.subject,
        pieces=tuple(pieces_of(found.text)),
    )


def pieces_of(text: str) -> list[Piece]:
    found, end = [], 0
    for match in LINK.finditer(text):
        found += [Piece(text[end : match.start()]), Piece(match[0], match["token"])]
        end = match.end()
    return [piece for piece in [*found, Piece(text[end:])] if piece.text]


def names_by_token(session: Session) -> dict[str, tuple[str, str]]:
    """Token to study number and birth date, for opening a letter's link in the phone's frame."""
    rows = session.execute(
        select(Link.token, Patient.study_number, Patient.birth_on)
        .join(Patient, Patient.id == Link.patient_id)
        .where(Link.token.is_not(None))
    )
    return {token: (study_number, born.isoformat()) for token, study_number, born in rows if token}
