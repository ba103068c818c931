"""What happened to a shoulder: reported, confirmed or adjudicated; corrected with a reason, and taken back where it was an error."""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from datetime import date, datetime

from sqlalchemy.orm import Session

from server.clinic.history import change_row
from server.clinic.left_open import outside_what_was_left_open
from server.clinic.lifetime import calendar_of, not_within_life
from server.clinic.recorded import correct_row, enter_row
from server.fields.check import CheckedEntry, checked
from server.fields.event import EVENT, INFECTIONS
from server.fields.field import OTHER, Value
from server.fields.operation_words import AGAIN, KINDS
from server.fields.stored import stored_values
from server.models import ClinicEvent, Operation, Patient, Response, Shoulder
from server.queries.clock import clinic_day, the_clinic
from server.schedule.dates import last_possible
from server.trust.audit import audit

_TOLD_BY = {"source_kind": "source", "treatment": "procedure"}  # texts that other words have too
_OF_INFECTIONS = ("infection_definition", "infection_certainty", "cultures_taken", "cultures_positive", "organism")
_WORD_OF_MOUTH = ("patient", "relative")


@dataclass(frozen=True)
class SaidIn:
    """The answer in which a patient reported an event: a response, the item such as `since@2/7`, and its day."""

    response_id: int
    item: str
    answered_on: date


def record_event(
    session: Session,
    shoulder: Shoulder,
    values: Mapping[str, Value],
    *,
    now: datetime,
    today: date,
    by_id: int | None,
    said_in: SaidIn | None = None,
) -> ClinicEvent:
    """An event of one shoulder. Raises EntryRefused with every error."""
    known_by = said_in.answered_on if said_in else None
    entry = check_event(session.get_one(Patient, shoulder.patient_id), values, today, known_by=known_by)
    event = ClinicEvent(
        **stored_values(EVENT, entry),
        shoulder_id=shoulder.id,
        response_id=said_in.response_id if said_in else None,
        item=said_in.item if said_in else None,
    )
    enter_row(session, event, now=now, by_id=by_id, shoulder=shoulder.id, certainty=event.certainty)
    return event


def correct_event(
    session: Session,
    event: ClinicEvent,
    values: Mapping[str, Value],
    *,
    now: datetime,
    today: date,
    by_id: int | None,
    why: str,
) -> list[str]:
    """The names of the fields that changed; the values before stay in the history. Raises EntryRefused with every error."""
    shoulder = session.get_one(Shoulder, event.shoulder_id)
    patient, known_by = session.get_one(Patient, shoulder.patient_id), said_on(session, event)
    entry = check_event(patient, values, today, itself=event, known_by=known_by)
    return correct_row(session, event, stored_values(EVENT, entry), now=now, by_id=by_id, why=why)


def said_on(session: Session, event: ClinicEvent) -> date | None:
    """The day of the answer of which it was made, where that counts: the event was known by then."""
    response = session.get(Response, event.response_id) if event.response_id is not None else None
    if response is None or response.set_aside_at is not None:
        return None
    return clinic_day(the_clinic(session), response.finished_at)


def may_be_recorded_as(event: ClinicEvent, operation: Operation) -> bool:
    """Whether the operation that was reported can be this one: done again on that shoulder, and not linked yet."""
    again = operation.surgery_on is not None and KINDS[operation.kind].order == AGAIN
    unlinked = event.kind == "operated_again" and event.recorded_as is None and event.taken_back_at is None
    return unlinked and again and event.shoulder_id == operation.shoulder_id


def recorded_as(
    session: Session, event: ClinicEvent, operation: Operation, *, now: datetime, by_id: int | None
) -> None:
    """The operation that was reported is recorded by now. Nothing happens where it cannot be this one."""
    if may_be_recorded_as(event, operation):
        change_row(session, event, {"recorded_as_id": operation.id}, now=now, by_id=by_id)
        session.flush()
        session.expire(event, ["recorded_as"])
        audit(session, "event:recorded_as", f"event {event.id}", now=now, by_id=by_id, operation=operation.id)


def check_event(
    patient: Patient,
    values: Mapping[str, Value],
    today: date,
    *,
    itself: ClinicEvent | None = None,
    known_by: date | None = None,
) -> CheckedEntry:
    """Raises EntryRefused with every error, of single fields and of fields together.

    `itself`: the event that is corrected; `known_by`: the day on which somebody said that it had happened.
    """
    together = (
        *_together(values),
        *_how_sure(values),
        *_infection(values),
        *_death(values, patient),
        *not_within_life(EVENT, values, patient),
        *outside_what_was_left_open(patient, values, "happened_on", _latest(values, itself, known_by)),
        *_judged_after_closing(patient, values, itself),
    )
    return checked(EVENT, values, calendar_of(patient, today), together)


def _latest(values: Mapping[str, Value], itself: ClinicEvent | None, known_by: date | None) -> date | None:
    """The last day on which it can have happened, for a patient who closed the records meanwhile.

    An event that stands is completed with the day that it has, which may be no more than a year.
    """
    on, precision = values.get("happened_on"), str(values.get("happened_precision") or "day")
    if not isinstance(on, date):
        return None
    if itself is not None and (itself.happened_on, itself.happened_precision) == (on, precision):
        return on
    latest = last_possible(on, precision)
    return latest if known_by is None or on > known_by else min(latest, known_by)


def _judged_after_closing(
    patient: Patient, values: Mapping[str, Value], itself: ClinicEvent | None
) -> Iterator[tuple[str, str]]:
    """By what something was confirmed is taken from records too. What was judged before stays as it is."""
    judged = values.get("judged_on")
    if judged is not None and (itself is None or judged != itself.judged_on):
        yield from outside_what_was_left_open(patient, values, "judged_on")


def _together(values: Mapping[str, Value]) -> Iterator[tuple[str, str]]:
    for word, text in _TOLD_BY.items():
        if values.get(word) == OTHER and not values.get(text):
            yield text, "Say which."
    decided = values.get("revision_decision")
    if values.get("kind") == "revision_advised" and decided is None:
        yield "revision_decision", "Choose whether it is not decided yet, was declined, or the person is unfit for it."
    if decided is not None and values.get("kind") != "revision_advised":
        yield (
            "revision_decision",
            "This belongs to a revision that was advised. Choose that above, or leave this empty.",
        )


def _death(values: Mapping[str, Value], patient: Patient) -> Iterator[tuple[str, str]]:
    if values.get("kind") == "death" and patient.died_on is None:
        yield (
            "kind",
            "Enter the death first, under “Died, withdrew, moved”. Then what belongs to it can be written down here.",
        )


def _how_sure(values: Mapping[str, Value]) -> Iterator[tuple[str, str]]:
    certainty = values.get("certainty")
    if certainty in ("confirmed", "adjudicated"):
        if values.get("source_kind") in _WORD_OF_MOUTH:
            yield "source_kind", "What a patient or a relative says is reported. Name what it was confirmed by."
        if not values.get("judged_by"):
            yield "judged_by", "Enter who confirmed or judged it."
        if values.get("judged_on") is None:
            yield "judged_on", "Enter the day on which it was confirmed or judged."
    elif certainty == "reported" and (values.get("judged_by") or values.get("judged_on")):
        yield (
            "certainty",
            "Somebody confirmed or judged it, so choose confirmed or adjudicated; or leave both fields empty.",
        )
    judged, happened = values.get("judged_on"), values.get("happened_on")
    if isinstance(judged, date) and isinstance(happened, date) and judged < happened:
        yield "judged_on", f"{judged} is before it happened. Check both days."


def _infection(values: Mapping[str, Value]) -> Iterator[tuple[str, str]]:
    filled = [name for name in _OF_INFECTIONS if values.get(name) not in (None, ())]
    if values.get("kind") not in INFECTIONS:
        for name in filled[:1]:
            yield name, "This belongs to an infection or a positive culture. Choose that above, or leave this empty."
        return
    if values.get("infection_certainty") is not None and values.get("infection_definition") is None:
        yield "infection_definition", "Choose the definition by which it is that."
    taken, positive = values.get("cultures_taken"), values.get("cultures_positive")
    if isinstance(positive, int) and (not isinstance(taken, int) or positive > taken):
        yield "cultures_positive", "More cultures are positive than were taken. Check both numbers."
    if values.get("kind") == "unexpected_positive_culture" and positive == 0:
        yield "cultures_positive", "None is positive, so this is no positive culture."
