"""How a shoulder is now, for the first look at a patient's page: the latest state, the change, what is due next, who is to act."""

from collections.abc import Collection
from dataclasses import dataclass
from datetime import date

from scoring.library import Library
from server.clinic.left_open import may_contact
from server.fields.person import SENT_BY_ITSELF
from server.models import Operation, Patient
from server.queries.course import in_course
from server.queries.facts import is_spoken_for
from server.reminders.contact_block import address_for, consents_to_contact
from server.schedule.status import WAITING, Status
from server.staff.page import words
from server.staff.patient.change_table import ScaleChange, SideChange, printed_score_of
from server.staff.patient.change_verdict import ChangeVerdict
from server.staff.patient.patient_record import Record, Side, Step
from server.staff.patient.printed_score import PrintedScore
from server.staff.patient.score_series import TrackedInstrument, tracked_instruments
from server.words.phrase import Phrase, phrase

NOBODY_LEFT = phrase("Nobody: nothing more is expected.")
STAFF_CHECK_DEATH = phrase(
    "Staff: check the death, which is only said so far. Then take it back under “Died, withdrew, moved”, and enter it as checked,"
    " or not at all."
)
OFFICER = phrase("The data protection officer: decide on the erasure that was asked for.")
STAFF_SETTLE = phrase("Staff: settle what waits above.")
SURGEON_DECIDES = phrase(
    "The surgeon: decide whether care requires a call, as the patient wants no contact. Staff settle it above."
)
STAFF_CONSENT = phrase(
    "Staff: no consent to contact stands, so no message goes. Ask for it at a visit, or enter a withdrawal."
)
STAFF_ASK = phrase("Staff: call, or hand a letter out. The patient asked for no messages, so none goes.")
STAFF_MAY_ASK = phrase(
    "The patient, who asked for no messages, so none goes. Staff may call, or hand a letter out; Today asks for it once it is overdue."
)
STAFF_BY_HAND = phrase("Staff: call, write, or hand a letter out. No message goes by itself to this patient.")
STAFF_CALL = phrase("Staff: call. Every reminder was sent.")
STAFF_OVERDUE = phrase("The patient; staff may call, reminders go on by themselves.")
STAFF_TEXT = phrase("The data manager: a text of it may not be sent.")
STAFF_SURGERY = phrase("Staff: enter what became of the operation.")
PATIENT = phrase("The patient; reminders go by themselves.")
REPRESENTATIVE = phrase("The representative; reminders go by themselves, to the address on record.")
NOBODY_YET = phrase("Nobody until then.")
NOTHING_DUE = phrase("Nobody: nothing is due.")


@dataclass(frozen=True)
class Standing:
    """`scores`: of the last form, each with its name; `change`: of the first scale that has one.

    `waits_for_surgery`: forms come once a planned operation is entered as done.
    """

    side: Side
    operation: Operation | None
    last: Step | None
    scores: tuple[tuple[TrackedInstrument, PrintedScore], ...]
    changed: tuple[ScaleChange, ChangeVerdict] | None
    said: SideChange | None
    due: Step | None
    act: Phrase
    waits_for_surgery: bool


def standings(
    record: Record, changes: list[SideChange], library: Library, *, flagged: Collection[str], today: date
) -> list[Standing]:
    """One for each shoulder. `flagged`: the kinds of what waits for a person, of this patient."""
    by_side = {each.side: each for each in changes}
    return [
        _standing(record, side, by_side.get(side.side), library, flagged=flagged, today=today) for side in record.sides
    ]


def who_acts(record: Record, side: Side, due: Step | None, *, flagged: Collection[str], today: date) -> Phrase:
    """Whose turn it is, the first that holds."""
    if "safety_answer" in flagged and not may_contact(record.patient) and record.patient.died_on is None:
        return SURGEON_DECIDES
    if flagged:
        return STAFF_SETTLE
    if (left := _who_acts_after_leaving(record)) is not None:
        return left
    if any(_is_past(each, today) for each in side.operations):
        return STAFF_SURGERY
    if due is None:
        return NOTHING_DUE
    if due.status in WAITING and due.timepoint.withheld_on is None:
        unwritten = _who_is_not_written_to(record.patient, due.status, today)
        if unwritten is not None:
            return unwritten
    if due.status == Status.NON_RESPONDER:
        return STAFF_CALL
    if due.status in WAITING and due.timepoint.withheld_on is not None:
        return STAFF_TEXT
    if due.status == Status.OVERDUE:
        return STAFF_OVERDUE
    if due.status not in WAITING:
        return NOBODY_YET
    return REPRESENTATIVE if is_spoken_for(record.patient, today) else PATIENT


def _who_acts_after_leaving(record: Record) -> Phrase | None:
    """None while the patient is followed."""
    patient = record.patient
    if patient.withdrawal_extent == "erasure" and patient.erased_at is None:
        return OFFICER
    if record.left_on is None:
        return None
    only_said = record.left_on[1] == patient.died_on and patient.died_certainty == "reported"
    return STAFF_CHECK_DEATH if only_said else NOBODY_LEFT


def _who_is_not_written_to(patient: Patient, status: Status, today: date) -> Phrase | None:
    """Whose turn it is where no message goes by itself; None where one does."""
    if not consents_to_contact(patient, today):
        return STAFF_CONSENT
    if patient.messages_stopped_on is None:
        return None if any(address_for(patient, way) for way in SENT_BY_ITSELF) else STAFF_BY_HAND
    return STAFF_MAY_ASK if status == Status.OPEN else STAFF_ASK


def _is_past(operation: Operation, today: date) -> bool:
    planned = operation.surgery_planned_on
    return operation.surgery_on is None and operation.cancelled_on is None and planned is not None and planned < today


def _standing(
    record: Record, side: Side, changes: SideChange | None, library: Library, *, flagged: Collection[str], today: date
) -> Standing:
    answered = [step for step in side.answered if step.timepoint.window_state != "recalled"]
    last = answered[-1] if answered else None
    ahead = [step for step in side.steps if step.status in (*WAITING, Status.UPCOMING)]
    due = min(ahead, key=lambda step: step.timepoint.due_on, default=None)
    scores = [
        (each, found)
        for each in tracked_instruments([side], library)
        if last is not None and (found := printed_score_of(last, each.definition, each.definition.scales[0]))
    ]
    told = [(row, row.changes[0]) for row in changes.scales if row.changes] if changes else []
    standing = [each for each in side.operations if each.cancelled_on is None]
    in_order = [each for _day, each in in_course(standing)] + [each for each in standing if each.surgery_on is None]
    return Standing(
        side=side,
        operation=in_order[-1] if in_order else None,
        last=last,
        scores=tuple(scores),
        changed=told[0] if told else None,
        said=changes,
        due=due,
        act=who_acts(record, side, due, flagged=flagged, today=today),
        waits_for_surgery=record.left_on is None and any(each.surgery_on is None for each in standing),
    )


def summary_of_operation(operation: Operation) -> str:
    """ "humeral resurfacing, 27 Jan 2019" """
    implant = words.say(words.IMPLANT[operation.implant_type] if operation.implant_type else words.KIND[operation.kind])
    on = operation.surgery_on or operation.surgery_planned_on
    if on is None:
        return implant
    if operation.surgery_on is None:
        return words.gettext("%(implant)s, planned %(day)s") % {"implant": implant, "day": words.short_day(on)}
    return f"{implant}, {words.short_day(on, operation.surgery_precision)}"
