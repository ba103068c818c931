"""Which of several rows count now: conditions that many queries share, each in one place."""

from collections.abc import Collection, Iterable
from datetime import date

from sqlalchemy import BindParameter, ColumnElement, and_, bindparam, func, not_, or_, select, update
from sqlalchemy.orm import Session, aliased

from server.models import (
    Component,
    FollowUp,
    Link,
    Operation,
    OperationLog,
    Patient,
    Score,
    SealingKey,
    Shoulder,
    Timepoint,
)
from server.schedule.after_contact import ENDING, RESTING

LIVE_LINK = Link.ended_at.is_(None)
# The record of a person: neither the alias of a duplicate nor enrolled in error.
COUNTED = and_(Patient.merged_into_id.is_(None), Patient.taken_back_at.is_(None))
STANDS = Operation.taken_back_at.is_(None)  # an operation that was not entered in error
# A component that an operation which stands took out.
_taken_out_at = aliased(Operation)
TAKEN_OUT = (
    select(_taken_out_at.id)
    .where(_taken_out_at.id == Component.taken_out_id, _taken_out_at.taken_back_at.is_(None))
    .correlate(Component)
    .exists()
)
# A line of the log whose patient is not enrolled, or was so in error. An operation that stands in the alias of a duplicate stands in the
# kept record too: its line would count it a second time.
OF_NOBODY_ENROLLED = OperationLog.operation_id.is_(None) | OperationLog.operation_id.not_in(
    select(Operation.id).join(Shoulder).join(Patient).where(STANDS, Patient.taken_back_at.is_(None))
)
LOGGED = and_(OperationLog.taken_back_at.is_(None), OF_NOBODY_ENROLLED)  # a line that is counted
VALID_SCORE = Score.superseded_at.is_(None)
# Asked for each due sheet, and so put together once.
_ALIASES = select(Patient).where(Patient.merged_into_id.in_(bindparam("records", expanding=True))).order_by(Patient.id)
_KEY_IN_USE = select(SealingKey).where(SealingKey.retired_at.is_(None))


def _has_other_clock() -> ColumnElement[bool]:
    own, other, its_follow_up = aliased(Operation), aliased(Operation), aliased(FollowUp)
    found = (
        select(its_follow_up.id)
        .join(other, and_(other.id == its_follow_up.operation_id, other.taken_back_at.is_(None)))
        .join(own, and_(own.shoulder_id == other.shoulder_id, own.id != other.id))
        .join(FollowUp, FollowUp.operation_id == own.id)
    )
    return found.where(FollowUp.id == Timepoint.follow_up_id).correlate(Timepoint).exists()


# Timepoints of a shoulder on which another operation has a follow-up too. Built once: putting it together costs more than asking it.
HAS_OTHER_CLOCK = _has_other_clock()


def of_nobody_enrolled(session: Session, line: OperationLog) -> bool:
    """Whether the patient of this line is still not enrolled, or was so in error, so that the line is a person's task."""
    found = select(OperationLog.id).where(OperationLog.id == line.id, OF_NOBODY_ENROLLED)
    return session.scalars(found).first() is not None


def kept_record(session: Session, patient: Patient) -> Patient:
    """The record that counts: of the alias of a duplicate the one that was kept."""
    while patient.merged_into_id is not None:
        patient = session.get_one(Patient, patient.merged_into_id)
    return patient


def aliases_of(session: Session, kept: Patient) -> list[Patient]:
    """The duplicates that were merged into a record, at whatever remove."""
    return aliases_of_each(session, [kept.id])[kept.id]


def aliases_of_each(session: Session, kept: Iterable[int]) -> dict[int, list[Patient]]:
    """The same of many, by the kept record's id."""
    found: dict[int, list[Patient]] = {record_id: [] for record_id in kept}
    kept_by: dict[int | None, int] = {record_id: record_id for record_id in found}
    nearer = list(found)
    while nearer:
        further = session.scalars(_ALIASES, {"records": nearer}).all()
        for alias in further:
            kept_by[alias.id] = kept_by[alias.merged_into_id]
            found[kept_by[alias.id]].append(alias)
        nearer = [alias.id for alias in further]
    return found


def lock_records(session: Session, patients: Collection[int]) -> None:
    """These records and their duplicates, for whoever makes records one or parts them; as they are now, in the order of their ids.

    Of two who want the same records at one moment the second waits here, and neither waits for what the other holds. SQLite has one
    writer at a time.
    """
    wanted = _with_aliases(session, patients)
    while True:
        rows = select(Patient).where(Patient.id.in_(wanted)).order_by(Patient.id).with_for_update(key_share=True)
        session.scalars(rows.execution_options(populate_existing=True)).all()
        now = _with_aliases(session, patients)
        if now <= wanted:  # else somebody else's merge was committed while this one waited
            return
        wanted = now


def _with_aliases(session: Session, patients: Collection[int]) -> set[int]:
    found, new = set(patients), set(patients)
    while new:
        new = set(session.scalars(select(Patient.id).where(Patient.merged_into_id.in_(new)))) - found
        found |= new
    return found


def waits_for_answer(today: date | BindParameter[date]) -> ColumnElement[bool]:
    """Timepoints that are asked about on that day: open, overdue or given up, also before the next status pass has closed what is over.

    Not those in whose place the form of the shoulder's other follow-up is sent.
    """
    return and_(
        Timepoint.done_at.is_(None),
        Timepoint.opens_on <= today,
        or_(Timepoint.closes_on.is_(None), Timepoint.closes_on >= today),
        or_(Timepoint.not_expected_on.is_(None), Timepoint.not_expected_on > today),
        Timepoint.carried_by_id.is_(None),
    )


def is_offered(today: date | BindParameter[date]) -> ColumnElement[bool]:
    """Timepoints whose forms a due sheet holds that day, as far as texts and plans allow.

    Opening alone does not offer a form where two follow-ups run on a shoulder: their forms keep 90 days between them.
    """
    return and_(waits_for_answer(today), or_(Timepoint.invites_on <= today, ~HAS_OTHER_CLOCK))


def rests(today: date | BindParameter[date]) -> ColumnElement[bool]:
    """Timepoints about which somebody was tried to be reached, and that are no person's task before their day."""
    refused = and_(Timepoint.last_try.in_(sorted(ENDING)), Timepoint.again_on.is_(None))
    return or_(Timepoint.again_on > today, func.coalesce(refused, False))


def reminders_go_on(today: date | BindParameter[date]) -> ColumnElement[bool]:
    """Timepoints whose reminders go by themselves, as server.schedule.after_contact.reminders_stopped says of one."""
    ended = Timepoint.last_try.in_(sorted(ENDING))
    resting = and_(Timepoint.last_try.in_(sorted(RESTING)), Timepoint.again_on > today)
    return or_(Timepoint.last_try.is_(None), not_(or_(ended, func.coalesce(resting, False))))


def sealing_key_in_use(session: Session) -> SealingKey | None:
    """The key that phones seal with now; None before the first set-up."""
    return session.scalars(_KEY_IN_USE).one_or_none()


def mark_sheets_stale(session: Session, patient_ids: Collection[int] | None = None) -> None:
    """Due sheets of these patients, or of all, no longer say what is so; they are sealed again after this transaction."""
    of_whom = LIVE_LINK if patient_ids is None else and_(LIVE_LINK, Link.patient_id.in_(patient_ids))
    session.execute(update(Link).where(of_whom).values(sheet_stale=True))
