"""What ends the life of an implant: endpoints from a closed list, each met or not by the first operation that ends its watch.

Whatever the endpoint, no implant is watched past a revision: what stands in the shoulder afterwards is another implant. So a revision
that is not the endpoint competes with it.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from server.fields.operation_words import LEAVES, PROCEDURES, PUT_NOTHING_IN, REASONS, TAKES_NOTHING_OUT
from server.outcomes.series.followed import Followed, Later
from server.outcomes.series.row import Row

REVISION, EXCHANGE, TO_REVERSE, REOPERATION, OF_REASON = "revision", "exchange", "to_reverse", "reoperation", "reason"
ENDPOINTS = (REVISION, EXCHANGE, TO_REVERSE, REOPERATION, OF_REASON)
NO_IMPLANT, ALREADY_REVERSE = "no_implant", "already_reverse"
_REVERSE = LEAVES["reverse"]
_LEFT_WITHOUT = (*PUT_NOTHING_IN, "arthrodesis")


@dataclass(frozen=True)
class Endpoint:
    """`reason`: of OF_REASON alone, the primary reason of the revision."""

    name: str = REVISION
    reason: str = ""

    @property
    def others_compete(self) -> bool:
        """Whether there are revisions that are not this endpoint."""
        return self.name not in (REVISION, REOPERATION)


def endpoint_in(options: Mapping[str, str]) -> tuple[Endpoint, tuple[str, ...]]:
    """What an address asks for, and what in it is no endpoint or reason: any revision stands instead, and that has to be said."""
    name, reason = options.get("end", ""), options.get("reason", "")
    if name == OF_REASON:
        return (Endpoint(name, reason), ()) if reason in REASONS else (Endpoint(), (reason or name,))
    if name not in ("", *ENDPOINTS):
        return Endpoint(), (name,)
    return Endpoint(name or REVISION), ()


def never_can(row: Row, endpoint: Endpoint) -> str | None:
    """Why this shoulder cannot come to the endpoint at all: nothing was put in, or what was is a reverse already."""
    procedure = PROCEDURES.get(row.procedure)
    if row.implant_type == "none" or row.procedure in _LEFT_WITHOUT or (procedure is not None and procedure.native):
        return NO_IMPLANT
    return ALREADY_REVERSE if endpoint.name == TO_REVERSE and _is_reverse(row.procedure, row.implant_type) else None


def first_end(followed: Followed, endpoint: Endpoint) -> tuple[Later, bool] | None:
    """The first later operation that ends the watch, and whether it is the endpoint; None while there is none."""
    for place, later in enumerate(followed.later):
        if endpoint.name == REOPERATION:
            return later, True
        if revises(later, followed.later[:place]):
            return later, _meets(endpoint, later, followed.later[place + 1 :])
    return None


def revises(later: Later, before: Sequence[Later]) -> bool:
    """Whether a component came in, went out or was exchanged. A second stage belongs to the revision whose first stage it completes;
    where that one is not recorded it is the only sign of the revision."""
    if later.kind == "second_stage":
        return not any(revises(each, ()) for each in before)
    return later.ends_the_first


def _meets(endpoint: Endpoint, later: Later, after: Sequence[Later]) -> bool:
    if endpoint.name == EXCHANGE:
        return later.procedure not in TAKES_NOTHING_OUT
    if endpoint.name == TO_REVERSE:
        definitive = _definitive(later, after)
        return _is_reverse(definitive.procedure, definitive.implant_type)
    return later.reason == endpoint.reason if endpoint.name == OF_REASON else True


def _definitive(later: Later, after: Sequence[Later]) -> Later:
    """Of an exchange in two stages the second, in which the implant that stays is put in; one revision, on the day of the first."""
    if later.stage != "first_of_two":
        return later
    return next((each for each in after if each.kind == "second_stage"), later)


def _is_reverse(procedure: str | None, implant_type: str | None) -> bool:
    return procedure == "reverse" or implant_type in _REVERSE
