"""What happens to each invented patient, decided before anything is played: dates, operations, ends, who answers and how."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date
from typing import Any

from server.demo.answers import Value
from server.demo.people import Person
from server.demo.recovery import Recovery


@dataclass(frozen=True)
class OperationStory:
    """One operation. `entered_on`: when the clinic wrote it down; `moves`: new planned days and when they were entered.

    `side` is the true one. `facts` are further members of ShoulderEntry. `recovery`: how the shoulder does around and after it.
    `mended`: words of server.demo.mending, for what is put right weeks after it. `duplicate`: entered with a second record of the
    same person.
    """

    side: str
    entered_on: date
    recovery: Recovery
    kind: str = "index"
    planned_on: date | None = None
    moves: tuple[tuple[date, date | None], ...] = ()
    done_on: date | None = None
    cancelled_on: date | None = None
    facts: Mapping[str, Any] = field(default_factory=dict)
    mended: tuple[str, ...] = ()
    duplicate: bool = False

    @property
    def entered_side(self) -> str:
        """As it was first written down."""
        return {"left": "right", "right": "left"}[self.side] if "side" in self.mended else self.side


@dataclass(frozen=True)
class Fate:
    """What becomes of one timepoint: `how` phone, telephone, paper, late or none; `days` after its first message, or after it closed.

    `extra` fixes answers. `called`: staff tried to reach the patient by telephone without an answer. `said`: what
    came of each try, else drawn.
    """

    how: str
    days: int = 3
    extra: Mapping[str, Value] = field(default_factory=dict)
    called: bool = True
    said: str | None = None


@dataclass(frozen=True)
class EndStory:
    """`reason` died, withdrew or transferred; `known_on`: when the clinic heard. `extent`: how far a withdrawal goes."""

    reason: str
    on: date
    known_on: date
    extent: str = "contact"

    @property
    def ends_all(self) -> bool:
        """Who wants no more messages is followed as before."""
        return self.reason != "withdrew" or self.extent != "messages"


@dataclass(frozen=True)
class EventStory:
    """A complication: a kind of EVENT_KINDS on one side. Reported first; `goes_to`: how sure it is in the end. `more`: of EVENT."""

    side: str
    kind: str
    on: date
    procedure: str | None = None
    goes_to: str = "adjudicated"
    more: Mapping[str, Any] = field(default_factory=dict)


@dataclass(frozen=True)
class PatientStory:
    """`willing` scales how likely this patient answers, 1 being usual. `fates` by side and code (`left/year-2`) go before chance.

    `keep_open`: flags of the last weeks that nobody has settled yet. `consents`: kinds agreed to. `trouble`: a word of
    server.demo.trouble, for what happens an hour before the visitor comes. `silent_from`: no form that comes after is answered.
    `mended`: words of server.demo.mending_people and the day of each, for what is entered of the wrong person and put right.
    `spoken_for_from`: from then on the patient cannot decide, and the daughter answers. `on_paper`: of the old series, which is typed in.
    """

    person: Person
    enrolled_on: date
    operations: tuple[OperationStory, ...]
    seed: str
    willing: float = 1.0
    prefers: str = "phone"
    consents: tuple[str, ...] = ("contact", "research")
    fates: Mapping[str, Fate] = field(default_factory=dict)
    end: EndStory | None = None
    silent_from: date | None = None
    events: tuple[EventStory, ...] = ()
    keep_open: bool = False
    trouble: str | None = None
    mended: tuple[tuple[str, date], ...] = ()
    spoken_for_from: date | None = None
    on_paper: bool = False

    @property
    def died_before(self) -> bool:
        """Known to be dead when enrolled, from the old series."""
        return self.end is not None and self.end.reason == "died" and self.end.on <= self.enrolled_on
