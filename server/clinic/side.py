"""An operation was entered on the wrong shoulder: it moves with all that follows from it, and each answer with a ground of its own.

The forms asked about the shoulder that stood on the screen. An answer stays only if that was the true side, if the patient said on that
very form which shoulder is right, or if the patient confirms that the true side was meant; all others are set aside. When a side is
corrected back, answers count again that the correction before set aside, and whose forms named this side.
"""

from collections.abc import Collection, Mapping
from dataclasses import dataclass
from typing import Any

from sqlalchemy import ColumnElement, and_, select
from sqlalchemy.orm import Session

from server.clinic.components import take_out
from server.clinic.contact import settle_all
from server.clinic.contradiction import refuse_if
from server.clinic.history import change_row, note_change
from server.clinic.misplaced import Act, Ground, keep_where_it_is, new_form, set_aside, take_back
from server.clinic.operations import first_free_position
from server.fields.operation_words import AGAIN, KINDS
from server.models import (
    ClinicEvent,
    ClinicFinding,
    FieldChange,
    Flag,
    FollowUp,
    KnownStatus,
    Operation,
    OperationLog,
    Patient,
    Response,
    ResponseMend,
    Shoulder,
    Timepoint,
)
from server.queries.events import events_after
from server.timepoints.asked import note_asked
from server.timepoints.restate import restate
from server.timepoints.transitions import look_at
from server.trust.audit import audit

OTHER = {"left": "right", "right": "left"}


@dataclass(frozen=True)
class Answered:
    """A counted response of the operation, the side that its form named, and the ground on which it stays, if there is one."""

    response: Response
    timepoint: Timepoint
    asked_side: str
    ground: Ground | None


@dataclass(frozen=True)
class Beside:
    """What is recorded of the shoulder beside its operations. `follows`: an event after what moves, so it moves unless somebody says no."""

    row: ClinicEvent | ClinicFinding | KnownStatus
    follows: bool

    @property
    def name(self) -> str:
        return f"{self.row.__tablename__}-{self.row.id}"


def what_moves(operation: Operation) -> list[Operation]:
    """A first operation takes along what is done again after one; what was before it, or was done later, is moved alone.

    It goes by the kinds, since an operation of decades ago may be entered last.
    """
    if operation.kind != "index":
        return [operation]
    again = [each for each in operation.shoulder.operations if KINDS[each.kind].order == AGAIN]
    return [operation, *again]


def beside(session: Session, operation: Operation) -> list[Beside]:
    """Events, visits, and what sources say of this shoulder, but for what was taken back."""
    shoulder = operation.shoulder
    after = {
        each.id for each in events_after(session, {each.id for each in what_moves(operation)}, shoulder.operations)
    }
    events = select(ClinicEvent).where(ClinicEvent.shoulder_id == shoulder.id, ClinicEvent.taken_back_at.is_(None))
    visits = select(ClinicFinding).where(
        ClinicFinding.shoulder_id == shoulder.id, ClinicFinding.taken_back_at.is_(None)
    )
    said = select(KnownStatus).where(
        KnownStatus.patient_id == shoulder.patient_id,
        KnownStatus.side == shoulder.side,
        KnownStatus.taken_back_at.is_(None),
    )
    return [
        *(Beside(event, event.id in after) for event in session.scalars(events.order_by(ClinicEvent.id))),
        *(Beside(visit, False) for visit in session.scalars(visits.order_by(ClinicFinding.id))),
        *(Beside(source, False) for source in session.scalars(said.order_by(KnownStatus.id))),
    ]


def answers_of(session: Session, operation: Operation) -> list[Answered]:
    """The counted answers to the forms of what moves, in the order in which they were given."""
    now_side, true_side = operation.shoulder.side, OTHER[operation.shoulder.side]
    rows = session.execute(
        select(Response, Timepoint)
        .join(Timepoint, Timepoint.id == Response.timepoint_id)
        .join(FollowUp, FollowUp.id == Timepoint.follow_up_id)
        .where(FollowUp.operation_id.in_([each.id for each in what_moves(operation)]), Response.counted)
        .order_by(Response.finished_at)
    ).all()
    return [
        Answered(response, timepoint, side, _ground(session, timepoint, side, true_side))
        for response, timepoint in rows
        for side in [response.asked_side or now_side]
    ]


def answers_coming_back(session: Session, operation: Operation) -> list[tuple[Response, Timepoint]]:
    """What an earlier correction of the side set aside though its form had named the side to which the operation goes now."""
    true_side = OTHER[operation.shoulder.side]
    rows = session.execute(
        select(Response, Timepoint, FieldChange)
        .join(Timepoint, Timepoint.id == Response.timepoint_id)
        .join(FollowUp, FollowUp.id == Timepoint.follow_up_id)
        .join(FieldChange, _side_of_operation(FollowUp.operation_id) & (FieldChange.at == Response.set_aside_at))
        .join(ResponseMend, (ResponseMend.response_id == Response.id) & (ResponseMend.at == Response.set_aside_at))
        .where(
            FollowUp.operation_id.in_([each.id for each in what_moves(operation)]),
            ResponseMend.what == "set_aside",
            ResponseMend.reason == "wrong_side",
        )
        .order_by(Response.finished_at)
    ).all()
    return [(response, row) for response, row, change in rows if (response.asked_side or change.old) == true_side]


def _side_of_operation(operation_id: Any) -> ColumnElement[bool]:
    """The condition that a change is one of this operation's side."""
    return and_(FieldChange.table_name == "operation", FieldChange.field == "side", FieldChange.row_id == operation_id)


def _ground(session: Session, timepoint: Timepoint, asked_side: str, true_side: str) -> Ground | None:
    if asked_side == true_side:
        return Ground("screen")
    said = select(Flag).where(
        Flag.timepoint_id == timepoint.id, Flag.kind == "said_wrong_side", Flag.true_side == true_side
    )
    flag = session.scalars(said.order_by(Flag.id)).first()
    return Ground("screen", flag_id=flag.id) if flag else None


def correct_side(
    session: Session,
    operation: Operation,
    confirmed: Mapping[int, Ground],
    act: Act,
    along: Collection[str] | None = None,
) -> None:
    """To the other shoulder. `confirmed`: by response the ground on which the patient said that the true side was meant.

    `along`: by name, what is recorded beside the operations and moves too; None: the events that followed. Raises Contradiction.
    """
    patient = session.get_one(Patient, operation.shoulder.patient_id)
    before, moved = operation.shoulder, what_moves(operation)
    true_side = OTHER[before.side]
    shoulder = next((each for each in patient.shoulders if each.side == true_side), None)
    _refuse_side(operation, before, shoulder, moved)
    _refuse_torn(moved, before)
    answered, back = answers_of(session, operation), answers_coming_back(session, operation)
    taken = [each for each in beside(session, operation) if (each.follows if along is None else each.name in along)]
    if shoulder is None:
        shoulder = Shoulder(side=true_side)
        patient.shoulders.append(shoulder)
        session.flush()
    for each in moved:
        _move(session, each, shoulder, before.side, act)
    for noted in taken:
        _move_beside(session, noted.row, shoulder, before.side, act)
    session.flush()
    session.expire(before, ["operations"])
    session.expire(shoulder, ["operations"])
    grounds = {answer.response.id: answer.ground or confirmed.get(answer.response.id) for answer in answered}
    stay = {answer.timepoint.id for answer in answered if grounds[answer.response.id] is not None}
    unasked = [row for each in moved for of in each.follow_ups for row in of.timepoints if row.id not in stay]
    _ask_anew(session, unasked)
    for answer in answered:
        ground = grounds[answer.response.id]
        if ground is None:
            set_aside(session, answer.response, "wrong_side", act)
        else:
            keep_where_it_is(session, answer.response, "wrong_side", ground, act)
    for response, _timepoint in back:
        take_back(session, response, act, "wrong_side")
    _note_at_settled(session, patient, operation, true_side)
    settle_all(
        session, patient, "said_wrong_side", f"The side was corrected to {true_side}.", now=act.now, by_id=act.by_id
    )
    restate(session, patient, now=act.now, today=act.today, by_id=act.by_id)
    look_at(session, unasked, now=act.now, today=act.today)


def _ask_anew(session: Session, rows: list[Timepoint]) -> None:
    """What asked so far asked about the other shoulder: about this one nobody was reminded, nor asked."""
    for row in rows:
        row.asked_on = row.ladder_exhausted_on = None
    session.flush()
    note_asked(session, rows)


def _note_at_settled(session: Session, patient: Patient, operation: Operation, true_side: str) -> None:
    """Notices that an earlier correction settled say that this was not the last one."""
    earlier = select(FieldChange.at).where(_side_of_operation(operation.id))
    settled = Flag.patient_id == patient.id, Flag.kind == "said_wrong_side", Flag.settled_at.in_(earlier)
    for flag in session.scalars(select(Flag).where(*settled)).all():
        flag.settled_note = f"{flag.settled_note or ''}\nThe side was corrected once more, to {true_side}.".strip()


def _refuse_side(operation: Operation, before: Shoulder, shoulder: Shoulder | None, moved: list[Operation]) -> None:
    there = [each for each in shoulder.operations if each.cancelled_on is None] if shoulder else []
    side = OTHER[before.side]
    if operation.kind == "index":
        refuse_if(
            any(each.kind == "index" for each in there),
            f"The {side} shoulder has its first operation already. Correct that one first.",
        )
        return
    done = [each for each in there if each.surgery_on is not None]
    day = operation.surgery_on
    refuse_if(
        KINDS[operation.kind].order == AGAIN and not done,
        f"The {side} shoulder has no operation that was done, so nothing can follow it there.",
    )
    refuse_if(
        day is not None and any(each.surgery_on is not None and each.surgery_on > day for each in done),
        f"The {side} shoulder has a later operation. Correct the days or that operation first.",
    )
    refuse_if(len(moved) != 1, "What followed this operation has to move with it.")


def _refuse_torn(moved: list[Operation], before: Shoulder) -> None:
    """What was put in at one operation and taken out at another is in one shoulder, and so are the two stages of an exchange."""
    ids = {each.id for each in moved}
    stay = [each for each in before.operations if each.id not in ids]
    parts = [
        *(part.put_in_id for each in moved for part in each.taken_out if part.struck_at is None),
        *(part.gone_at.id for each in moved for part in each.put_in if part.struck_at is None and part.gone_at),
    ]
    refuse_if(
        any(other is not None and other not in ids for other in parts),
        f"A component was put in at one operation of the {before.side} shoulder and taken out at another, and only one of them "
        "would move. Correct the components first.",
    )
    torn = any(each.first_stage_id is not None and each.first_stage_id not in ids for each in moved)
    refuse_if(
        torn or any(each.first_stage_id in ids for each in stay),
        f"The other stage of this exchange stands at the {before.side} shoulder, and only one would move.",
    )


def _move(session: Session, operation: Operation, shoulder: Shoulder, side_before: str, act: Act) -> None:
    operation.position = first_free_position(shoulder)
    operation.shoulder_id = shoulder.id
    session.flush()
    session.expire(shoulder, ["operations"])
    session.expire(operation, ["shoulder"])
    note_change(session, operation, "side", side_before, shoulder.side, now=act.now, by_id=act.by_id, why=act.why)
    what = {"before": side_before, "after": shoulder.side}
    audit(session, "operation:side_corrected", f"operation {operation.id}", now=act.now, by_id=act.by_id, **what)
    for line in session.scalars(select(OperationLog).where(OperationLog.operation_id == operation.id)).all():
        change_row(session, line, {"side": shoulder.side}, now=act.now, by_id=act.by_id, why=act.why)
    for part in operation.put_in:
        if (
            part.taken_out_id is not None and part.gone_at is None
        ):  # else it came out of the other shoulder, once brought back
            take_out(session, None, part, now=act.now, by_id=act.by_id, why=act.why)
    for follow_up in operation.follow_ups:
        for timepoint in follow_up.timepoints:
            if timepoint.answered_on is None or timepoint.answer_from_id is not None:
                new_form(timepoint)
    session.flush()


def _move_beside(
    session: Session, row: ClinicEvent | ClinicFinding | KnownStatus, shoulder: Shoulder, side_before: str, act: Act
) -> None:
    if isinstance(row, KnownStatus):
        change_row(session, row, {"side": shoulder.side}, now=act.now, by_id=act.by_id, why=act.why)
        return
    row.shoulder_id = shoulder.id
    note_change(session, row, "side", side_before, shoulder.side, now=act.now, by_id=act.by_id, why=act.why)
