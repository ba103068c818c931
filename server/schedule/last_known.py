"""When a person was last reached, last known alive, and when the state of each implant was last known: rows in, three facts out.

Rules:

1. Each source moves only what it shows (SHOWS). A register of deaths knows of no implant, a register of operations of no life.
2. A relative's word, and what somebody else answered for the patient, is reported: it stands apart and moves nothing that is known.
3. Nothing after the as-of day counts, and nothing after a death.
4. An implant of whose state nothing was known for 24 months is lost. That is derived at each look, never stored.
5. Once a source said that the shoulder was operated again, the implant is not known to be in place until such an operation is recorded,
   or a source says later that there was none at all. An answer of "not since I was last asked" speaks of later days only.
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


class Again(StrEnum):
    """What a source says of another operation on the shoulder of which it speaks."""

    RECORDED = "recorded"  # the operation itself, as it stands in the record
    SAID = "said"
    NOT_SINCE_LAST = "not_since_last"  # none since the form before
    NONE = "none"  # none at all


class State(StrEnum):
    IN_PLACE = "in_place"
    OPERATED_NOT_RECORDED = "operated_not_recorded"


@dataclass(frozen=True)
class Sighting:
    """What one source says on one day. `side`: the shoulder of whose implant it speaks; None where it speaks of none.

    `until`: the last day that `on` can be, where that is not known exactly. `reported`: it stands apart, whatever its source.
    """

    on: date
    source: Source
    says: frozenset[Fact]
    side: str | None = None
    again: Again | None = None
    until: date | None = None
    reported: bool = False


_ORDER = {source: place for place, source in enumerate(SHOWS)}


@dataclass(frozen=True)
class Known:
    """`said_on`: of an implant, when a source first said that it was operated again, where no such operation is recorded."""

    on: date
    source: Source
    state: State | None = None
    said_on: date | None = None


@dataclass(frozen=True)
class LastKnown:
    """`implant` by side. The `reported_…`: what was only said later than anything known."""

    contact: Known | None = None
    alive: Known | None = None
    implant: Mapping[str, Known] = field(default_factory=dict)
    reported_alive: Known | None = None
    reported_implant: Mapping[str, Known] = field(default_factory=dict)

    def implant_lost(self, side: str, since: date, as_of: date) -> bool:
        """Whether nothing was known of this implant for 24 months; `since`: the day it was put in, before which none was there."""
        known = self.implant.get(side)
        return anniversary(max(known.on, since) if known else since, IMPLANT_LOST_YEARS) <= as_of


def last_known(sightings: Iterable[Sighting], as_of: date, died_on: date | None = None) -> LastKnown:
    """The latest of each; of two on one day the one that stands first in SHOWS. `died_on`: the last day that it can have been."""
    end = as_of if died_on is None else min(as_of, died_on)
    seen = sorted((each for each in sightings if each.on <= end), key=lambda each: (each.on, -_ORDER[each.source]))
    sides = sorted({each.side for each in seen if each.side is not None})
    contact, _none = _latest(seen, Fact.CONTACT)
    alive, reported_alive = _latest(seen, Fact.ALIVE)
    implants = {side: _latest([each for each in seen if each.side == side], Fact.IMPLANT) for side in sides}
    return LastKnown(
        contact,
        alive,
        {side: known for side, (known, _reported) in implants.items() if known is not None},
        reported_alive,
        {side: reported for side, (_known, reported) in implants.items() if reported is not None},
    )


def _latest(seen: list[Sighting], fact: Fact) -> tuple[Known | None, Known | None]:
    """What is known last, and what was only said later than that. `seen`: in order; for an implant those of its side."""
    known: Sighting | None = None
    reported: Sighting | None = None
    for each in seen:
        if fact in each.says and fact in SHOWS[each.source]:
            known, reported = (known, each) if _is_reported(each) else (each, None)
    return _known(known, seen, fact), _known(reported, seen, fact)


def _known(found: Sighting | None, seen: list[Sighting], fact: Fact) -> Known | None:
    if found is None:
        return None
    if fact != Fact.IMPLANT:
        return Known(found.on, found.source)
    said_on = _operated_not_recorded(seen, found)
    return Known(found.on, found.source, State.IN_PLACE if said_on is None else State.OPERATED_NOT_RECORDED, said_on)


def _is_reported(sighting: Sighting) -> bool:
    return sighting.reported or sighting.source in REPORTED


def _operated_not_recorded(seen: list[Sighting], last: Sighting) -> date | None:
    """By rule 5, from what was said by the day of `last`; what was only reported counts where `last` is only reported too."""
    said = [each for each in seen if each.on <= last.on and (_is_reported(last) or not _is_reported(each))]
    recorded = [each for each in seen if each.again == Again.RECORDED]
    not_since: date | None = None
    missing: date | None = None
    for each in said:
        if each.again == Again.SAID:
            known = any(_can_be(operation, each, not_since) for operation in recorded)
            missing = missing or (None if known else each.on)
        elif each.again in (Again.NONE, Again.NOT_SINCE_LAST):
            missing = missing if each.again == Again.NOT_SINCE_LAST else None
            not_since = each.on
    return missing


def _can_be(operation: Sighting, said: Sighting, not_since: date | None) -> bool:
    """Whether a recorded operation can be the one that was spoken of; by `not_since` there had been none."""
    return operation.on <= (said.until or said.on) and (
        not_since is None or (operation.until or operation.on) > not_since
    )
