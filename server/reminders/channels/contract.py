"""What a channel gets and what it may answer."""

from dataclasses import dataclass
from datetime import date, datetime
from typing import Literal, Protocol

Tone = Literal["first", "again", "last"]


class TransportProblem(Exception):
    """The message did not go out, as far as is known. `permanent`: trying again is of no use.

    `summary` is kept in the database and logged: it never holds an address, a name, or what a server said.
    """

    def __init__(self, summary: str, *, permanent: bool) -> None:
        super().__init__(summary)
        self.summary = summary
        self.permanent = permanent


@dataclass(frozen=True)
class Numbers:
    """Whom to call, as every message says it. `demo`: the clinic is invented."""

    name: str
    phone: str
    phone_hours: str
    closed_phone: str
    emergency_number: str
    demo: bool


@dataclass(frozen=True)
class Notice:
    """One message to one patient about everything that fell due together.

    `sides`: "left", "right" or both, in this order. `due_on`: the earliest due day, None once it has passed; `closes_on`: the first
    day on which something closes, None before surgery. `minutes` is the sum. `spoken_for`: the patient
    cannot decide, so that it speaks to the representative. `message_id` is the same whenever this message is sent again.
    """

    message_id: str
    to: str
    language: str
    first_name: str
    sides: tuple[str, ...]
    tone: Tone
    minutes: int
    due_on: date | None
    closes_on: date | None
    url: str
    clinic: Numbers
    written_at: datetime
    spoken_for: bool = False


@dataclass(frozen=True)
class Preview:
    """A notice as this channel would carry it, for staff to look at before it goes."""

    to: str
    subject: str
    text: str


class Channel(Protocol):
    def preview(self, notice: Notice) -> Preview:
        """Word for word what `send` would send; raises TransportProblem where it could not. Sends nothing."""

    def send(self, notice: Notice) -> None:
        """Returns once the next machine has taken the message over; raises TransportProblem. Called outside any transaction."""
