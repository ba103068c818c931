"""Mail to one member of staff, outside the ladder: by the clinic's mail server and sender, as the messages to patients go.

Whoever sends asks first whether a restored clinic waits for its release (server.queries.restored): then nothing goes.
"""

import secrets
from urllib.parse import urlsplit

from server.config import Settings
from server.fields.sender import sender_address
from server.reminders.channels.email.channel import email_channel
from server.reminders.channels.email.compose import PlainMail, compose_plain


def send_to_staff(settings: Settings, clinics_sender: str | None, mail: PlainMail) -> None:
    """Returns once the next machine has taken the message over; raises TransportProblem. Call it outside any transaction.

    `clinics_sender` is the clinic's setting `mail_from`; without one the environment says who writes.
    """
    channel = email_channel(settings, clinics_sender)
    message = compose_plain(mail, channel.sender)
    channel.transport.deliver(message, sender=sender_address(channel.sender).addr_spec, recipient=mail.to)


def new_message_id(base_url: str) -> str:
    """A random one under the clinic's host. Who may send the same message again keeps it, so that a repeat is recognisable."""
    host = urlsplit(base_url).hostname or "localhost"
    return f"<{secrets.token_hex(16)}@{host[:60]}>"
