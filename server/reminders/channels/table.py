"""Every channel of the program, one row each; README.md says what a channel's folder holds."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass

from server.config import Settings
from server.models import Clinic, Patient
from server.reminders.channels.contract import Channel
from server.reminders.channels.email.channel import email_channel


@dataclass(frozen=True)
class ChannelRow:
    """`name`: the word of `CHANNELS` in server/models/message.py. `make`: the channel of an installation, as the
    clinic's own settings have it now.

    `address`: where it reaches a patient, None without one.
    """

    name: str
    make: Callable[[Settings, Clinic], Channel]
    address: Callable[[Patient], str | None]


def _email(settings: Settings, clinic: Clinic) -> Channel:
    return email_channel(settings, clinic.mail_from)


CHANNELS: Sequence[ChannelRow] = (ChannelRow("email", _email, lambda patient: patient.email),)
