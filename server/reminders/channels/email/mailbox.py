"""A folder instead of a mail server: each message as an .eml file (RFC 5322), for demos and for clinics without a mail server.

The file is named after the Message-ID, so a message that is sent again replaces itself.
"""

import re
from dataclasses import dataclass
from datetime import datetime
from email import policy
from email.message import EmailMessage
from email.parser import BytesParser
from pathlib import Path

from server.reminders.channels.contract import TransportProblem
from server.store.whole_file import write_whole


@dataclass(frozen=True)
class MailboxTransport:
    folder: Path

    def deliver(self, message: EmailMessage, *, sender: str, recipient: str) -> None:  # noqa: ARG002 (the headers say it)
        """Returns once the file is durable. Raises TransportProblem, never permanent: a full disk passes."""
        try:
            write_whole(self.folder / file_name(message["Message-ID"]), message.as_bytes())
        except OSError as problem:
            summary = f"the mailbox folder cannot be written ({type(problem).__name__})"
            raise TransportProblem(summary, permanent=False) from problem


@dataclass(frozen=True)
class MailboxLetter:
    """One message as a page shows it. `sent_at` is aware."""

    name: str
    message_id: str
    sent_at: datetime
    to: str
    subject: str
    text: str


def file_name(message_id: str) -> str:
    return re.sub(r"[^A-Za-z0-9@.-]", "", message_id).lstrip(".") + ".eml"


def list_mailbox(folder: Path) -> list[MailboxLetter]:
    """Newest first. An empty or missing folder has none; a file that is no message is left out."""
    if not folder.is_dir():
        return []
    letters = [read_letter(file) for file in folder.glob("*.eml")]
    return sorted((one for one in letters if one is not None), key=lambda one: (one.sent_at, one.name), reverse=True)


def read_letter(file: Path) -> MailboxLetter | None:
    message = BytesParser(policy=policy.default).parsebytes(file.read_bytes())
    sent_at = message["Date"].datetime if message["Date"] is not None else None
    body = message.get_body(("plain",))
    if sent_at is None or sent_at.tzinfo is None or body is None:
        return None
    return MailboxLetter(
        name=file.stem,
        message_id=str(message["Message-ID"]).strip(),
        sent_at=sent_at,
        to=str(message["To"]),
        subject=str(message["Subject"]),
        text=body.get_content().replace("\r\n", "\n"),
    )
