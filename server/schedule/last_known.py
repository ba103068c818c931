"""When a person was last reached, last known alive, and when the state of each implant was last known: rows in, three facts out.

Rules:

1. Each source moves only what it shows (SHOWS). A register of deaths knows of no implant, a register of operations of no life.
2. A relative's word, and what somebody else answered for the patient, is reported: it stands apart and moves nothing that is known.
3. Nothing after the as-of day counts, and nothing after a death.
4. An implant of whose state nothing was known for 24 months is lost. That is derived at each look, never stored.
"""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from datetime import date
from enum import StrEnum

from server.schedule.dates import anniversary

IMPLANT_LOST_YEARS = 2


class Fact(StrEnum):
    CONTACT = "contact"
    ALIVE = "alive"
    IMPLANT = "implant"


class Source(StrEnum):
    ANSWER = "answer"
    ANSWER_FOR = "answer_for"  # somebody else answered for the patient
    CALL = "call"  # somebody of the clinic spoke to the patient
    CONSENT = "consent"  # given by the patient in person
    OPERATION = "operation"
    OPERATION_ELSEWHERE = "operation_elsewhere"
    EXAMINATION = "examination"
    PATIENT = "patient"  # told by telephone or letter, without a form
    OTHER_DEPARTMENT = "other_department"
    GP_LETTER = "gp_letter"
    OTHER_HOSPITAL = "other_hospital"
    REGISTER = "register"
    DEATH_REGISTER = "death_register"
    RELATIVE = "relative"


_ALL = frozenset(Fact)
_ALIVE_AND_IMPLANT = frozenset({Fact.ALIVE, Fact.IMPLANT})
SHOWS: Mapping[Source, frozenset[Fact]] = {
    Source.ANSWER: _ALL,
    Source.ANSWER_FOR: _ALIVE_AND_IMPLANT,
    Source.CALL: frozenset({Fact.CONTACT, Fact.ALIVE}),
    Source.CONSENT: frozenset({Fact.CONTACT, Fact.ALIVE}),
    Source.OPERATION: _ALL,
    Source.OPERATION_ELSEWHERE: _ALIVE_AND_IMPLANT,
    Source.EXAMINATION: _ALL,
    Source.PATIENT: _ALL,
    Source.OTHER_DEPARTMENT: _ALIVE_AND_IMPLANT,
    Source.GP_LETTER: _ALIVE_AND_IMPLANT,
    Source.OTHER_HOSPITAL: _ALIVE_AND_IMPLANT,
    Source.REGISTER: frozenset({Fact.IMPLANT}),
    Source.DEATH_REGISTER: frozenset({Fact.ALIVE}),
    Source.RELATIVE: _ALIVE_AND_IMPLANT,
}
REPORTED = frozenset({Source.RELATIVE, Source.ANSWER_FOR})


@dataclass(frozen=True)
class Sighting:
    """What one source says on one day. `side`: the shoulder of whose implant it speaks; None where it speaks of none."""

    on: date
    source: Source
    says: frozenset[Fact]
    side: str | None = None


@dataclass(frozen=True)
class Known:
    on: date
    source: Source


@dataclass(frozen=True)
class LastKnown:
    """`implant` by side. `reported`: what only somebody else said later than anything known; by fact, for implants of any side."""

    contact: Known | None = None
    alive: Known | None = None
    implant: Mapping[str, Known] = field(default_factory=dict)
    reported: Mapping[Fact, Known] = field(default_factory=dict)

    def implant_lost(self, side: str, since: date, as_of: date) -> bool:
        """Whether nothing was known of this implant for 24 months; `since`: the day it was put in, before which none was there."""
        known = self.implant.get(side)
        return anniversary(max(known.on, since) if known else since, IMPLANT_LOST_YEARS) <= as_of


def last_known(sightings: Iterable[Sighting], as_of: date, died_on: date | None = None) -> LastKnown:
    """The latest of each; of two on one day the one that stands first in SHOWS."""
    end = as_of if died_on is None else min(as_of, died_on)
    order = list(SHOWS)
    seen = sorted((each for each in sightings if each.on <= end), key=lambda each: (each.on, -order.index(each.source)))
    contact = alive = None
    implant: dict[str, Known] = {}
    reported: dict[Fact, Known] = {}
    for each in seen:
        known, moves = Known(each.on, each.source), each.says & SHOWS[each.source]
        if each.source in REPORTED:
            reported.update(dict.fromkeys(moves, known))
            continue
        contact = known if Fact.CONTACT in moves else contact
        alive = known if Fact.ALIVE in moves else alive
        if Fact.IMPLANT in moves and each.side is not None:
            implant[each.side] = known
        for fact in moves:
            reported.pop(fact, None)
    return LastKnown(contact, alive, implant, reported)
