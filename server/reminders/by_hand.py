"""Staff send the next message of a timepoint now, instead of waiting for its day.

Rules:

1. What goes is the next step of the ladder in force: of those due and not settled the latest, else the first that is to come. Steps before
   it are passed over. It is put into the outbox as the tick would, so that the ladder never sends the same step again. Where no step is
   left, the last one that could not be sent (no address, no consent, none wanted then, refused by the mail server) is tried once more.
   One that was sent and came back undelivered goes again only where somebody says so, with the reason, once the address is right
   (`send_again`): the history keeps that it came back.
2. The step is named by whoever sends: sending the same one twice is sending it once, and while one waits no second one is made.
3. What speaks against any message speaks against this one, and so does a refusal of the patient. A promise does not: staff may know better.
4. The row of the list rests after it (server.schedule.after_contact, rule 5).
"""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime

from sqlalchemy import select
from sqlalchemy.orm import Session

from scoring.library import Library
from server.models import Message, Patient, Timepoint
from server.queries.clock import the_clinic
from server.queries.facts import facts_of, last_day_of
from server.queries.pause import pause_of
from server.queries.restored import waits_for_release
from server.queries.texts_in_force import read_wording
from server.reminders.channels.contract import Notice
from server.reminders.channels.table import CHANNELS
from server.reminders.contact_block import reason_no_longer_due, reason_not_to_contact, ways_of_contact
from server.reminders.due_messages import channel_for, is_withheld, put_into_outbox
from server.reminders.ladders import LadderUnusable, ladder_in_force
from server.reminders.notice import Due, write_notice
from server.schedule.after_contact import ENDING, MESSAGE, again_on
from server.schedule.ladder import DueSteps, Ladder, LadderStep, next_steps
from server.schedule.plan import Plan
from server.schedule.status import Status, status
from server.schedule.timepoint_code import TimepointCode
from server.timepoints.plans import read_plans
from server.trust.audit import audit
from server.words.phrase import Phrase, phrase

REFUSALS = {
    "ended": phrase("Nothing more is expected of this patient."),
    "already_answered": phrase("The form is answered already."),
    "window_closed": phrase("The form can no longer be answered: its last day has passed."),
    "not_open": phrase("The form is not open yet."),
    "restored": phrase(
        "The clinic came out of a backup: nothing is sent until a data manager releases it under Backups. Call, or print the letter."
    ),
    "other_form": phrase("The form of this shoulder's other operation is asked in its place: within 90 days only one is sent."),
    "plan_unusable": phrase("The plan of this follow-up cannot be used now. Today says what a data manager does about it."),
    "ladder_unusable": phrase("The reminder ladder in force cannot be used now. The page Reminders says what to do about it."),
    "withheld": phrase("A text of the form may not be sent, so the link would not show it. A data manager decides that under Texts."),
    "declined": phrase("The patient does not want to answer this form. If that has changed, write down the call first."),
    "said_died": phrase("Somebody said that the patient has died. Enter the death, or settle it as a mistake, first."),
    "asked_to_stop": phrase("The patient asked to get no more messages. Enter the withdrawal, or settle it, first."),
    "messages_stopped": phrase("The patient asked for no more messages. Call, or print the letter."),
    "no_consent": phrase("No consent to contact is on record. Ask for it, and write it down first."),
    "no_contact": phrase("There is no e-mail address on record. Call, or print the letter."),
    "other_way": phrase("The patient is not to be reached by e-mail, and nothing else is sent by itself. Call, or print the letter."),
    "waiting": phrase("A message about this form is on its way already; it goes within a minute."),
    "put_off": phrase("A message about this form could not be delivered yet; it is tried again by itself. Call meanwhile."),
    "no_address": phrase("The e-mail address on record cannot be one. Correct it under contact details."),
    "changed": phrase("Another message is the next one meanwhile. Look at it once more."),
    "came_back": phrase(
        "The last message came back undelivered. Correct the contact details, then send it again under “Put a try or a message right”."
    ),
    "not_returned": phrase("Only a message that came back undelivered can be sent again."),
    "all_sent": phrase("Every message of the reminder ladder has gone. Call, or print the letter."),
}  # fmt: skip


class NotSent(Exception):
    """Why nothing can be sent: a word of REFUSALS."""

    def __init__(self, reason: str) -> None:
        super().__init__(reason)
        self.reason = reason

    @property
    def said(self) -> Phrase:
        return REFUSALS[self.reason]


WENT_OUT = ("sent", "returned")
COULD_NOT_GO = ("no_contact", "no_consent", "messages_stopped", "channel_failed")


@dataclass(frozen=True)
class Next:
    """The message that would go: `passed_over` are steps before it that will not go any more."""

    step: LadderStep
    passed_over: tuple[LadderStep, ...]
    channel: str
    ladder: Ladder
    plan: Plan


def next_message(session: Session, library: Library, timepoint: Timepoint, *, today: date) -> Next:
    """Raises NotSent with the first thing that speaks against it."""
    plan = read_plans(session).find(timepoint)
    if plan is None:
        raise NotSent("plan_unusable")
    try:
        ladder = ladder_in_force(session)
    except LadderUnusable as problem:
        raise NotSent("ladder_unusable") from problem
    patient = session.get_one(Patient, timepoint.patient_id)
    _refuse_for_the_form(session, library, timepoint, patient, plan, today)
    steps = _steps_left(session, timepoint, ladder, today)
    if steps.send is None:
        raise NotSent("all_sent")
    channel = channel_for(patient, steps.send)
    _refuse_for_the_patient(patient, channel, today)
    return Next(steps.send, steps.passed_over, channel, ladder, plan)


def _steps_left(session: Session, timepoint: Timepoint, ladder: Ladder, today: date) -> DueSteps:
    """By rule 1. Raises NotSent while a message waits."""
    rows = _refused_while_one_waits(session, timepoint)
    steps = ladder.steps(TimepointCode.parse(timepoint.code))
    found = next_steps(steps, invites_on=timepoint.invites_on, today=today, settled={row.step for row in rows})
    if found.send is not None:
        return found
    became = {row.step: row.outcome for row in rows}
    last = next((step for step in reversed(steps) if became.get(step.step) in (*WENT_OUT, *COULD_NOT_GO)), None)
    if last is not None and became[last.step] == "returned":
        raise NotSent("came_back")
    return DueSteps(send=last if last is not None and became[last.step] != "sent" else None)


def _refused_while_one_waits(session: Session, timepoint: Timepoint) -> Sequence[Message]:
    """The messages about it, none of which waits. Raises NotSent."""
    rows = session.scalars(select(Message).where(Message.timepoint_id == timepoint.id).order_by(Message.id)).all()
    for row in rows:
        if row.done_at is None:
            raise NotSent("put_off" if row.last_problem else "waiting")
    return rows


def _refuse_for_the_form(
    session: Session, library: Library, timepoint: Timepoint, patient: Patient, plan: Plan, today: date
) -> None:
    reason = reason_no_longer_due(timepoint, today)
    if reason is not None:
        raise NotSent(reason)
    if waits_for_release(session) is not None:
        raise NotSent("restored")
    if status(facts_of(timepoint), today) == Status.UPCOMING:
        raise NotSent("not_open")
    if timepoint.carried_by_id is not None:
        raise NotSent("other_form")
    pause = pause_of(session, patient.id)
    if pause is not None:
        raise NotSent(pause)
    if timepoint.last_try in ENDING:
        raise NotSent("declined")
    if is_withheld(plan, timepoint, read_wording(session, library), patient.language):
        raise NotSent("withheld")


def _refuse_for_the_patient(patient: Patient, channel: str, today: date) -> None:
    reason = reason_not_to_contact(patient, channel, today)
    wanted = ways_of_contact(patient)
    if reason == "no_contact" and wanted and not any(each.name in wanted for each in CHANNELS):
        raise NotSent("other_way")
    if reason is not None:
        raise NotSent(reason)


def preview(session: Session, timepoint: Timepoint, found: Next, url: str, *, now: datetime, today: date) -> Notice:
    """What would go, word for word, with the link `url`. Writes nothing."""
    row = Message(timepoint_id=timepoint.id, step=found.step.step, channel=found.channel)
    due = Due(row, timepoint, found.plan, found.ladder.steps(TimepointCode.parse(timepoint.code)))
    patient = session.get_one(Patient, timepoint.patient_id)
    return write_notice(the_clinic(session), patient, [due], url, now=now, today=today)


def send_now(
    session: Session, library: Library, timepoint: Timepoint, step: str, *, now: datetime, today: date, by_id: int
) -> None:
    """Puts the step into the outbox, from where it goes within a minute. A step that waits or was sent is left as it is.

    Raises NotSent when nothing can be sent, or when `step` is no longer the next one.
    """
    there = session.scalars(select(Message).where(Message.timepoint_id == timepoint.id, Message.step == step)).all()
    if any(row.outcome in (None, "sent") for row in there):
        return
    found = next_message(session, library, timepoint, today=today)
    if found.step.step != step:
        raise NotSent("changed")
    patient = session.get_one(Patient, timepoint.patient_id)
    for passed in found.passed_over:
        put_into_outbox(session, timepoint, patient, passed, "passed_over", found.ladder, now)
    for row in there:
        if row.outcome in COULD_NOT_GO and row.channel == found.channel:  # a step has one row for each channel
            row.ladder_version = found.ladder.name
            _waits_anew(row, now)  # not a new row: what was written down about this one stays with it
    session.flush()
    put_into_outbox(session, timepoint, patient, found.step, None, found.ladder, now)
    timepoint.last_try, timepoint.again_on = MESSAGE, again_on(MESSAGE, today, last_day_of(timepoint))
    audit(
        session, "message:by_hand", f"timepoint {timepoint.id}", now=now, by_id=by_id, step=step, channel=found.channel
    )


def send_again(session: Session, library: Library, message: Message, *, now: datetime, today: date, by_id: int) -> None:
    """A message that came back undelivered waits to go once more, to the address on record now. Raises NotSent.

    When it was sent before is no longer in the row: the caller keeps that in the history.
    """
    timepoint = session.get_one(Timepoint, message.timepoint_id)
    patient, plan = session.get_one(Patient, timepoint.patient_id), read_plans(session).find(timepoint)
    if plan is None:
        raise NotSent("plan_unusable")
    _refused_while_one_waits(session, timepoint)
    if message.outcome != "returned":
        raise NotSent("not_returned")
    _refuse_for_the_form(session, library, timepoint, patient, plan, today)
    _refuse_for_the_patient(patient, message.channel, today)
    _waits_anew(message, now)
    timepoint.last_try, timepoint.again_on = MESSAGE, again_on(MESSAGE, today, last_day_of(timepoint))
    said = {"step": message.step, "channel": message.channel}
    audit(session, "message:by_hand", f"timepoint {timepoint.id}", now=now, by_id=by_id, **said)


def _waits_anew(message: Message, now: datetime) -> None:
    message.outcome, message.done_at, message.made_at = None, None, now
    message.message_id, message.last_problem, message.leased_until, message.tries = None, None, None, 0


def bring_back(timepoint: Timepoint) -> None:
    """A message by hand that did not go was no try: the row is a person's task again."""
    if timepoint.last_try == MESSAGE:
        timepoint.last_try, timepoint.again_on = None, None
