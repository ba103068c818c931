"""Keeps the rows of every follow-up 400 days ahead: looks at it on the day a new row is due, and each day before surgery, while another
follow-up of the shoulder runs beside it, since days decide whose form is sent, or while its plan is unusable, so that somebody hears of it.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime

from sqlalchemy import ColumnElement, Select, and_, or_, select
from sqlalchemy.orm import Session, joinedload, selectinload

from server.models import FollowUp, Operation, Patient, Timepoint
from server.queries.current import HAS_OTHER_CLOCK, is_offered
from server.reminders.chunks import AT_ONCE, LAST, in_chunks
from server.reminders.failures import kind_and_place, log
from server.reminders.link_service import LinkService
from server.store.engine import Store
from server.timepoints.clocks import SHARES_SHOULDER
from server.timepoints.generate import refresh_timepoints
from server.timepoints.plans import Plans, read_plans

_BEFORE_SURGERY = FollowUp.operation_id.in_(select(Operation.id).where(Operation.surgery_on.is_(None)))


@dataclass
class Extended:
    extended: int = 0
    published: int = 0
    failed: int = 0


def extend_timepoints(store: Store, link_service: LinkService, *, now: datetime, today: date) -> Extended:
    """Reconciles them with their plan, a few in each transaction."""
    report = Extended()
    with store.reading() as session:
        due = _due(read_plans(session), today)
    for ids in in_chunks(store, _follow_ups(due)):
        with store.writing() as session:
            changed = {_extend(session, each, report, now=now, today=today) for each in _loaded(session, ids, due)}
            patients = sorted(patient_id for patient_id in changed if patient_id is not None)
            if patients:
                _publish(session, link_service, patients, report, now=now, today=today)
    return report


def _due(plans: Plans, today: date) -> ColumnElement[bool]:
    """Whoever changes what a plan counts from brings the rows up to date at once; days alone change nothing of the others.

    An answer is what nobody refreshes for: one that came long before surgery is asked for once more.
    """
    name = FollowUp.plan_id + "@" + FollowUp.plan_version
    each_day = or_(SHARES_SHOULDER, _BEFORE_SURGERY, name.not_in(sorted(plans.usable)))
    return or_(FollowUp.look_ahead_on <= today, and_(FollowUp.ended_on.is_(None), each_day))


def _follow_ups(due: ColumnElement[bool]) -> Select[int]:
    return select(FollowUp.id).where(due, FollowUp.id > LAST).order_by(FollowUp.id).limit(AT_ONCE)


def _loaded(session: Session, ids: Sequence[int], due: ColumnElement[bool]) -> Sequence[FollowUp]:
    """With PostgreSQL the rows are locked, so that two passes do not make the same timepoint."""
    wanted = select(FollowUp).where(FollowUp.id.in_(ids), due).order_by(FollowUp.id)
    whole = wanted.options(
        joinedload(FollowUp.operation, innerjoin=True).joinedload(Operation.shoulder, innerjoin=True),
        selectinload(FollowUp.timepoints),
    )
    return session.scalars(whole.with_for_update(of=FollowUp)).all()


def _extend(session: Session, follow_up: FollowUp, report: Extended, *, now: datetime, today: date) -> int | None:
    """The patient whose due sheet may say something else now."""
    follow_up_id, patient_id = follow_up.id, follow_up.operation.shoulder.patient_id
    try:
        with session.begin_nested():
            plan = read_plans(session).of(follow_up)
            changed = refresh_timepoints(session, follow_up, plan, now=now, today=today)
            report.extended += changed
            return patient_id if changed or _may_be_offered_today(session, follow_up, today) else None
    except Exception as problem:
        log.error("follow-up %s was not extended: %s", follow_up_id, kind_and_place(problem))
        report.failed += 1
        return None


def _publish(
    session: Session,
    link_service: LinkService,
    patient_ids: Sequence[int],
    report: Extended,
    *,
    now: datetime,
    today: date,
) -> None:
    """All of them in a few statements. If that fails each alone finds the one that does it, and holds up no other."""
    try:
        with session.begin_nested():
            wanted = select(Patient).where(Patient.id.in_(patient_ids)).order_by(Patient.id)
            report.published += link_service.publish(session, session.scalars(wanted).all(), now=now, today=today)
    except Exception as problem:
        if len(patient_ids) > 1:
            for patient_id in patient_ids:
                _publish(session, link_service, [patient_id], report, now=now, today=today)
            return
        log.error("the due sheet of patient %s is not published: %s", *patient_ids, kind_and_place(problem))
        report.failed += 1


def _may_be_offered_today(session: Session, follow_up: FollowUp, today: date) -> bool:
    """Beside another follow-up of the shoulder a form is offered from its invitation on, at which no status turns."""
    if all(row.done_at is not None or row.invites_on > today for row in follow_up.timepoints):
        return False
    waits = select(Timepoint.id).where(Timepoint.follow_up_id == follow_up.id, is_offered(today), HAS_OTHER_CLOCK)
    return session.scalar(waits.limit(1)) is not None
