"""Every channel of the program, one row each; README.md says what a channel's folder holds."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass

from server.config import Settings
from server.models import Clinic, Patient
from server.reminders.channels.contract import Channel
from server.reminders.channels.email.channel import email_channel


@dataclass(frozen=True)
class ChannelRow:
    """`name`: the word of `CHANNELS` in server/models/message.py. `make`: the channel of an installation.

    `address`: where it reaches a patient, None without one.
    """

    name: str
    make: Callable[[Settings, Clinic], Channel]
    address: Callable[[Patient], str | None]


CHANNELS: Sequence[ChannelRow] = (
    ChannelRow(
        "email", lambda settings, clinic: email_channel(settings, clinic.mail_from), lambda patient: patient.email
    ),
)
