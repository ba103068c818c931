"""Puts the steps of the reminder ladder that are due into the outbox, and marks where a ladder has ended.

Rules:

1. A step that may not be sent gets its row too, with the reason.
2. A timepoint whose form is withheld, because a text of it may not be sent (server.queries.texts_in_force), is left as it is: no row, so
   that its steps come once the text may be sent. So is one whose plan is unusable (server.timepoints.plans), and so are all while
   the ladder in force is (server.reminders.ladders).
3. So is one in whose place the form of the shoulder's other follow-up is sent (server.schedule.clocks).
4. Of a patient who said something that pauses messages (server.queries.pause) every timepoint is left as it is, in the same way.
5. A ladder is exhausted, and its timepoint a non-responder, once every step is settled and at least one of them was sent. Whoever
   was never written to (no consent, no address for the channel, sending failed each time) did not stay silent: such a timepoint
   stays open or overdue until a person reaches the patient or the window closes.
6. On a holiday of the clinic no step is put into the outbox: it comes on the next day that is none, by the rules of any day on which
   nothing ran. Weekends are days like others, since a ladder counts days.
7. After a restore that was released by passing over, a step that was due by its day is passed over here too
   (server.reminders.after_restore).
"""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from functools import lru_cache
from typing import Any

from sqlalchemy import BindParameter, ColumnElement, Date, Select, and_, bindparam, exists, func, not_, or_, select
from sqlalchemy.dialects import postgresql, sqlite
from sqlalchemy.orm import Session, contains_eager, selectinload

from scoring.library import Library
from server.models import FollowUp, Message, Patient, Timepoint
from server.queries.clock import clinic_day, the_clinic
from server.queries.current import reminders_go_on
from server.queries.facts import facts_of
from server.queries.holidays import read_holidays
from server.queries.pause import is_paused
from server.queries.texts_in_force import Wording, read_wording
from server.reminders.after_restore import passed_over_at
from server.reminders.channels.table import CHANNELS
from server.reminders.chunks import AT_ONCE, LAST, in_chunks
from server.reminders.contact_block import reason_not_to_contact, ways_of_contact
from server.reminders.failures import kind_and_place, log
from server.reminders.ladders import LadderUnusable, ladder_in_force
from server.reminders.link_service import LinkService
from server.schedule.ladder import Ladder, LadderStep, channel_of, due_steps, is_exhausted
from server.schedule.plan import Plan
from server.schedule.timepoint_code import BEFORE_SURGERY, TimepointCode, Unit
from server.schedule.working_time import is_holiday
from server.store.engine import Store
from server.timepoints.asked import about_this_shoulder
from server.timepoints.plans import Plans, read_plans
from server.timepoints.transitions import mark_ladder_exhausted

TODAY: BindParameter[date] = bindparam("today", type_=Date)
# Asked for each message, and so put together once, as are the statements of _Due. By dialect.
_INSERT: dict[str, Any] = {
    name: insert(Message).on_conflict_do_nothing().returning(Message.id)
    for name, insert in (("postgresql", postgresql.insert), ("sqlite", sqlite.insert))
}
_GONE = select(Message.step, Message.outcome).join(Timepoint, Timepoint.id == Message.timepoint_id)
_GONE = _GONE.where(
    Timepoint.id == bindparam("timepoint"), Message.done_at.is_not(None), about_this_shoulder(Message.done_at)
)


@dataclass(frozen=True)
class Settled:
    """A step that has its row, by which version of the ladder, and since when."""

    step: str
    ladder: str | None
    made_at: datetime


@dataclass
class MessageCounts:
    """What one pass did. `let_go`: steps settled without a message. `exhausted`: ladders that ended."""

    made: int = 0
    let_go: int = 0
    exhausted: int = 0
    failed: int = 0


def make_messages(store: Store, link_service: LinkService, *, now: datetime, today: date) -> MessageCounts:
    """A row for each step due. All steps of one patient come in one transaction, so that both shoulders can share a message."""
    report = MessageCounts()
    try:
        with store.reading() as session:
            if is_holiday(today, read_holidays(session)):
                return report
            ladder = ladder_in_force(session)
            due = _due(frozenset(read_plans(session).usable), ladder)
    except LadderUnusable as problem:
        log.error("no messages are made: %s", problem)
        return report
    for patients in in_chunks(store, due.patients, _days(ladder, today)):
        with store.writing() as session:
            _make_for_patients(session, link_service, patients, due, report, now=now, today=today)
    return report


@dataclass(frozen=True)
class _Due:
    """The statements that find what is due by one ladder and some plans; `_days` is bound in them. Both take ids beside."""

    ladder: Ladder
    patients: Select[int]
    timepoints: Select[Timepoint, Patient]


@lru_cache(maxsize=16)
def _due(plans: frozenset[str], ladder: Ladder) -> _Due:
    """Put together once for a ladder: it takes longer than to ask it."""
    due = _step_due(plans, ladder)
    of_follow_up = Timepoint.follow_up_id == FollowUp.id
    patients = select(Timepoint.patient_id).join(FollowUp, of_follow_up).where(due, Timepoint.patient_id > LAST)
    timepoints = (
        select(Timepoint, Patient)
        .join(FollowUp, of_follow_up)
        .join(Patient, Patient.id == Timepoint.patient_id)
        .where(due, Timepoint.patient_id.in_(bindparam("patients", expanding=True)))
        .order_by(Timepoint.patient_id, Timepoint.id)
        .options(contains_eager(Timepoint.follow_up), selectinload(Patient.consents))
    )
    return _Due(ladder, patients.order_by(Timepoint.patient_id).distinct().limit(AT_ONCE), timepoints)


def _days(ladder: Ladder, today: date) -> dict[str, date]:
    """For the statements above: today, and by step the last day of inviting for which it is due."""
    steps = (*ladder.before_surgery, *ladder.years, *ladder.weeks)
    return {"today": today, **{_name(step): today - timedelta(days=step.day) for step in steps}}


def _name(step: LadderStep) -> str:
    return f"invited_{step.day}".replace("-", "minus_")


def _step_due(plans: Iterable[str], ladder: Ladder) -> ColumnElement[bool]:
    """Over timepoint and follow_up: it is waited for, and a step is due that has no row yet, or none is left to come."""
    usable = FollowUp.plan_id + "@" + Timepoint.plan_version
    before = Timepoint.code == str(BEFORE_SURGERY)
    annual = Timepoint.code.like(f"{Unit.YEAR}-%")
    return and_(
        Timepoint.done_at.is_(None),
        Timepoint.ladder_exhausted_on.is_(None),
        Timepoint.carried_by_id.is_(None),
        Timepoint.opens_on <= TODAY,
        or_(Timepoint.closes_on.is_(None), Timepoint.closes_on >= TODAY),
        usable.in_(sorted(plans)),
        reminders_go_on(TODAY),
        ~is_paused(Timepoint.patient_id),
        or_(
            and_(before, _to_do(ladder.before_surgery)),
            and_(annual, _to_do(ladder.years)),
            and_(not_(before), not_(annual), _to_do(ladder.weeks)),
        ),
    )


def _to_do(steps: Sequence[LadderStep]) -> ColumnElement[bool]:
    due = (and_(Timepoint.invites_on <= bindparam(_name(step), type_=Date), ~_has_row(step)) for step in steps)
    # Only after a change to a shorter ladder: all its steps are settled already, and nothing else would look whether it ended.
    ended = and_(_was_sent(), *(_has_row(step, done=True) for step in steps))
    return or_(*due, ended)


def _has_row(step: LadderStep, *, done: bool = False) -> ColumnElement[bool]:
    row = select(Message.id).where(Message.timepoint_id == Timepoint.id, Message.step == step.step)
    return exists((row.where(Message.done_at.is_not(None)) if done else row).correlate(Timepoint))


def _was_sent() -> ColumnElement[bool]:
    sent = select(Message.id).where(Message.timepoint_id == Timepoint.id, Message.outcome == "sent")
    return exists(sent.correlate(Timepoint))


@dataclass(frozen=True)
class _Work:
    """What is due of some patients, and what all of it goes by, read at once. `settled`: the steps that have a row, by timepoint."""

    due: Sequence[tuple[Timepoint, Patient]]
    settled: Mapping[int, Sequence[Settled]]
    ladder: Ladder
    plans: Plans
    wording: Wording
    passed_over_at: datetime | None


def _make_for_patients(
    session: Session,
    link_service: LinkService,
    patients: Sequence[int],
    due: _Due,
    report: MessageCounts,
    *,
    now: datetime,
    today: date,
) -> None:
    """Where somebody's rows cannot be read each is tried alone, so that nobody else goes without."""
    try:
        with session.begin_nested():  # on PostgreSQL a failed statement spoils the transaction, unless in a savepoint
            work = _read_work(session, link_service.library, patients, due, today)
    except Exception as problem:
        if len(patients) > 1:
            for patient_id in patients:
                _make_for_patients(session, link_service, [patient_id], due, report, now=now, today=today)
            return
        log.error("no messages were made for patient %s: %s", patients[0], kind_and_place(problem))
        report.failed += 1
        return
    for timepoint, patient in work.due:
        timepoint_id = timepoint.id
        try:
            with session.begin_nested():
                if not is_withheld(work.plans.of(timepoint), timepoint, work.wording, patient.language):
                    _make_for_timepoint(session, timepoint, patient, work, report, now=now, today=today)
        except Exception as problem:
            log.error("no messages were made for timepoint %s: %s", timepoint_id, kind_and_place(problem))
            report.failed += 1


def _read_work(session: Session, library: Library, patients: Sequence[int], due: _Due, today: date) -> _Work:
    rows = session.execute(due.timepoints, {"patients": patients, **_days(due.ladder, today)})
    found = [(timepoint, patient) for timepoint, patient in rows]
    made = (
        select(Message.timepoint_id, Message.step, Message.ladder_version, func.max(Message.made_at).label("made_at"))
        .where(Message.timepoint_id.in_([timepoint.id for timepoint, _ in found]))
        .group_by(Message.timepoint_id, Message.step, Message.ladder_version)
    )
    settled: dict[int, list[Settled]] = {}
    for row in session.execute(made):
        settled.setdefault(row.timepoint_id, []).append(Settled(row.step, row.ladder_version, row.made_at))
    plans, wording = read_plans(session), read_wording(session, library)
    return _Work(found, settled, ladder_in_force(session), plans, wording, passed_over_at(session))


def is_withheld(plan: Plan, timepoint: Timepoint, wording: Wording, language: str) -> bool:
    """Whether its form is not on the due sheet of a patient of `language`, because a text may not be sent."""
    return wording.withholds((part.instrument for part in plan.entry(timepoint.code).parts), language)


def _make_for_timepoint(
    session: Session,
    timepoint: Timepoint,
    patient: Patient,
    work: _Work,
    report: MessageCounts,
    *,
    now: datetime,
    today: date,
) -> None:
    ladder, rows, clinic = work.ladder, work.settled.get(timepoint.id, ()), the_clinic(session)
    reached_at = [row.made_at for row in rows if row.ladder != ladder.name]
    if work.passed_over_at is not None and patient.made_at <= work.passed_over_at:
        reached_at.append(work.passed_over_at)
    due = due_steps(
        ladder.steps(TimepointCode.parse(timepoint.code)),
        invites_on=timepoint.invites_on,
        today=today,
        settled={row.step for row in rows},
        facts=facts_of(timepoint),
        reached_on=max((clinic_day(clinic, each) for each in reached_at), default=None),
    )
    for step in due.passed_over:
        report.let_go += put_into_outbox(session, timepoint, patient, step, "passed_over", ladder, now)
    outcome = None if due.send is None else reason_not_to_contact(patient, channel_for(patient, due.send), today)
    if due.send is not None:
        inserted = put_into_outbox(session, timepoint, patient, due.send, outcome, ladder, now)
        report.made += inserted if outcome is None else 0
        report.let_go += inserted if outcome is not None else 0
    if due.send is None or outcome is not None:  # a ladder whose step waits has not ended
        report.exhausted += end_ladder(session, timepoint, now=now, today=today)


def channel_for(patient: Patient, step: LadderStep) -> str:
    """The channel that carries this step to this patient."""
    return channel_of(step.role, ways_of_contact(patient), [channel.name for channel in CHANNELS])


def put_into_outbox(
    session: Session,
    timepoint: Timepoint,
    patient: Patient,
    step: LadderStep,
    outcome: str | None,
    ladder: Ladder,
    now: datetime,
) -> int:
    """A row that waits, or with `outcome` one that was let go. Returns 1, or 0 when the row was there: somebody else made it."""
    values = {
        "timepoint_id": timepoint.id,
        "step": step.step,
        "channel": channel_for(patient, step),
        "ladder_version": ladder.name,
        "made_at": now,
        "lease_no": 0,
        "tries": 0,
        "outcome": outcome,
        "done_at": None if outcome is None else now,
    }
    return len(session.scalars(_INSERT[session.get_bind().dialect.name], values).all())


def end_ladder(session: Session, timepoint: Timepoint, *, now: datetime, today: date) -> bool:
    """Marks the ladder in force as exhausted by rule 5, while an answer is still waited for. True when this call did."""
    if _is_over(timepoint):
        return False
    rows = session.execute(_GONE, {"timepoint": timepoint.id}).all()
    if all(row.outcome != "sent" for row in rows):
        return False
    try:
        steps = ladder_in_force(session).steps(TimepointCode.parse(timepoint.code))
    except LadderUnusable:
        return False
    if not is_exhausted(steps, {row.step for row in rows}) or read_plans(session).find(timepoint) is None:
        return False
    session.refresh(timepoint, with_for_update=True)  # read a while ago: an answer may have come meanwhile
    if _is_over(timepoint):
        return False
    mark_ladder_exhausted(session, timepoint, on=today, now=now)
    return True


def _is_over(timepoint: Timepoint) -> bool:
    return timepoint.ladder_exhausted_on is not None or timepoint.done_at is not None
