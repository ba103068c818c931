"""Answers that stand in the wrong place: about the other shoulder, given by somebody else, or not usable.

They are set aside and kept as they came. They are moved only on a ground: the screen named the true side, the patient confirmed it
(who, when, how), or it is clear whose they are. What is moved is a response of its own, sealed under the key of the patient it belongs
to; the envelope keeps its own. The timepoint that loses its answer gets a new form, so that the right person is asked and the old form,
if it comes once more, is held for a person to look at. Answers taken at a visit answer no form: they are set aside and taken back, and
entered anew at the right visit. What patients reported in answers goes with them (reported_events.py).
"""

import uuid
from dataclasses import dataclass
from datetime import date, datetime
from typing import Any, Protocol

from sqlalchemy import select
from sqlalchemy.orm import Session

from scoring.library import Library
from server.clinic.contradiction import Contradiction, refuse_if
from server.clinic.reported_events import LEFT_BEHIND, bring_back_with, move_with, set_aside_with, shoulder_of
from server.crypto.fields import PatientCipher
from server.forms.asked import asked_parts
from server.forms.stored import open_answers, seal_answers
from server.models import Flag, FollowUp, Operation, Patient, Response, ResponseMend, Score, Shoulder, Timepoint
from server.queries.clock import clinic_day, the_clinic
from server.queries.current import STANDS, VALID_SCORE
from server.queries.facts import baseline_window_state
from server.schedule.plan import BeforeSurgery
from server.schedule.preference import PREFERENCE
from server.schedule.window import window_state
from server.store.base import Base
from server.timepoints.plans import PlanUnusable, read_plans
from server.timepoints.restate import restate
from server.trust.audit import audit

COPIED = (
    "mode", "answered_by", "language", "opened_at", "finished_at", "phone_finished_at", "received_at", "utc_offset_minutes", "time_zone",
    "clock_skew_ms", "build", "device", "asked_side", "operated_again",
)  # fmt: skip


class Ciphers(Protocol):
    """The key folder, as moving answers needs it. LookupError when a key is not there."""

    def patient_cipher(self, handle: str) -> PatientCipher: ...


@dataclass(frozen=True)
class Reader:
    """What opens answers and knows what a form asks."""

    keys: Ciphers
    library: Library


@dataclass(frozen=True)
class Ground:
    """Why answers may stand elsewhere: `screen` (with the notice, where there is one), or `patient` (who confirmed it, when, how)."""

    ground: str
    flag_id: int | None = None
    confirmed_by: str | None = None
    confirmed_on: date | None = None
    confirmed_how: str | None = None


@dataclass(frozen=True)
class Act:
    """Who mends, when, and why; for every function here."""

    why: str
    now: datetime
    today: date
    by_id: int


def set_aside(session: Session, response: Response, reason: str, act: Act) -> None:
    """Counts for nothing from now on; its timepoint waits for an answer again if its window is open. Restates the patient."""
    _put_aside(session, response, reason, act)
    set_aside_with(session, response, **_stamp(act))
    _restate(session, response.patient_id, act)


def move_answers(
    session: Session, response: Response, to: Timepoint, reason: str, ground: Ground | None, act: Act, reader: Reader
) -> Response:
    """A response of its own at `to`, from the same answers; the original is set aside. Raises Contradiction."""
    refuse_if(response.timepoint_id is None, "What was taken at a visit is entered anew at the visit where it belongs.")
    refuse_if(to.id == response.timepoint_id, "These answers stand there already.")
    same_patient = to.patient_id == response.patient_id
    _refuse_place(session, response, to, reason, same_patient=same_patient)
    refuse_if(same_patient and ground is None, "Answers move to the other shoulder only when that is confirmed.")
    refuse_if(not fits(session, response, to, reader), "That form asks other questions; these answers do not fit it.")
    _put_aside(session, response, reason, act)
    moved = _copy(session, response, to, act, reader)
    _move_flags(session, response, moved)
    move_with(session, response, moved, **_stamp(act))
    _note(session, response, "moved", reason, act, ground=ground, moved_to_id=moved.id)
    for patient_id in dict.fromkeys((response.patient_id, to.patient_id)):
        _restate(session, patient_id, act)
    return moved


def take_back(session: Session, response: Response, act: Act, reason: str = "not_usable") -> None:
    """Setting it aside was the mistake: it counts again, unless something else answers its form by now."""
    set_aside_at = response.set_aside_at
    if set_aside_at is None:
        raise Contradiction("These answers were not set aside.")
    moved = session.scalars(select(Response).where(Response.moved_from_id == response.id)).all()
    for each in moved:
        if each.set_aside_at is None:
            _put_aside(session, each, "not_usable", act)
            _move_flags(session, each, response)
            move_with(session, each, response, **_stamp(act))
            _restate(session, each.patient_id, act)
    response.set_aside_at = None
    response.counted = not _has_successor(session, response)
    session.flush()
    bring_back_with(session, response, set_aside_at, **_stamp(act))
    _note(session, response, "taken_back", reason, act)
    _restate(session, response.patient_id, act)


def keep_where_it_is(session: Session, response: Response, reason: str, ground: Ground, act: Act) -> None:
    """The ground on which answers stay, though something about them was put right; what they report stays with them."""
    move_with(session, response, response, **_stamp(act))
    _note(session, response, "kept", reason, act, ground=ground)


def places_for(session: Session, response: Response, patient: Patient, reader: Reader) -> list[tuple[str, Timepoint]]:
    """Side and timepoint of every unanswered form that asks what these answers say, the nearest day first.

    Of the patient whose they are now only those of the other shoulder; and none that had not opened yet when they were given.
    """
    rows = session.execute(
        select(Shoulder.side, Timepoint)
        .join(Operation, Operation.shoulder_id == Shoulder.id)
        .join(FollowUp, FollowUp.operation_id == Operation.id)
        .join(Timepoint, Timepoint.follow_up_id == FollowUp.id)
        .where(Shoulder.patient_id == patient.id, STANDS, Timepoint.id != response.timepoint_id)
    ).all()
    answered_on = clinic_day(the_clinic(session), response.finished_at)
    here = shoulder_of(session, response).id
    free = [
        (side, row)
        for side, row in rows
        if row.opens_on <= answered_on
        and row.follow_up.operation.shoulder_id != here
        and not _is_answered(session, row.id)
        and fits(session, response, row, reader)
    ]
    return sorted(free, key=lambda each: (abs((each[1].due_on - answered_on).days), each[1].id))


def fits(session: Session, response: Response, to: Timepoint, reader: Reader) -> bool:
    """Whether the form of a timepoint asks the very questions that were answered; the one about both shoulders goes with any."""
    patient = session.get_one(Patient, response.patient_id)
    answers = open_answers(response.answers, reader.keys.patient_cipher(patient.handle))
    of_one_shoulder = (part for part in answers.parts if part.instrument != PREFERENCE.instrument)
    given = {(part.instrument, frozenset(part.answers)) for part in of_one_shoulder}
    try:
        asked = asked_parts(reader.library, read_plans(session).entry(to).parts)
        return given == {(part.instrument, frozenset(part.items)) for part in asked}
    except PlanUnusable:
        return False


def _refuse_place(session: Session, response: Response, to: Timepoint, reason: str, *, same_patient: bool) -> None:
    """Answers go where the reason says that they belong, and to no form that was still to come when they were given."""
    refuse_if(reason == "not_usable", "Answers that cannot be used are set aside. Choose no form for them.")
    refuse_if(
        reason == "wrong_side" and not same_patient,
        "That form is another patient’s. Say that somebody else gave these answers.",
    )
    refuse_if(
        reason == "wrong_person" and same_patient,
        "That form is this patient’s own. Choose another patient’s form, or none.",
    )
    refuse_if(
        to.follow_up.operation.shoulder_id == shoulder_of(session, response).id,
        "That form is about the same shoulder. Choose one of the other shoulder, or none.",
    )
    refuse_if(
        to.opens_on > clinic_day(the_clinic(session), response.finished_at),
        "That form had not opened yet when these answers were given.",
    )


def new_form(timepoint: Timepoint) -> None:
    """What a phone still holds of the old form is held for a person when it comes."""
    timepoint.form_id = str(uuid.uuid4())


def _put_aside(session: Session, response: Response, reason: str, act: Act) -> None:
    refuse_if(response.set_aside_at is not None, "These answers were already set aside.")
    response.set_aside_at, response.counted = act.now, False
    session.flush()
    if response.timepoint_id is not None and not _is_answered(session, response.timepoint_id):
        new_form(session.get_one(Timepoint, response.timepoint_id))
    _note(session, response, "set_aside", reason, act)


def _copy(session: Session, response: Response, to: Timepoint, act: Act, reader: Reader) -> Response:
    patient, other = session.get_one(Patient, response.patient_id), session.get_one(Patient, to.patient_id)
    answers = open_answers(response.answers, reader.keys.patient_cipher(patient.handle))
    moved = Response(
        **{name: getattr(response, name) for name in COPIED},
        timepoint_id=to.id,
        patient_id=other.id,
        entered_by_id=act.by_id,
        moved_from_id=response.id,
        counted=not _is_answered(session, to.id),
        recorded_at=act.now,
        window_state=_window_state(session, to, clinic_day(the_clinic(session), response.finished_at)),
        answers=seal_answers(answers, reader.keys.patient_cipher(other.handle)),
    )
    session.add(moved)
    session.flush()
    scores = session.scalars(select(Score).where(Score.response_id == response.id, VALID_SCORE)).all()
    session.add_all(same_score(score, moved.id, act.now) for score in scores)
    session.flush()
    return moved


def same_score(score: Score, response_id: int, now: datetime) -> Score:
    """A copy of a score for the response to which it belongs now."""
    columns = {
        name: getattr(score, name)
        for name in [column.name for column in Score.__table__.columns]
        if name not in ("id", "response_id")
    }
    return Score(**{**columns, "response_id": response_id, "scored_at": now})


def _window_state(session: Session, to: Timepoint, answered_on: date) -> str:
    entry = read_plans(session).entry(to)
    if isinstance(entry, BeforeSurgery):
        return str(baseline_window_state(to.follow_up.operation, answered_on, entry.early_over_days))
    return str(
        window_state(answered_on, opens_on=to.opens_on, closes_on=to.closes_on, not_expected_on=to.not_expected_on)
    )


def _move_flags(session: Session, response: Response, to: Response) -> None:
    """What a person must look at in the answers goes with them; what is asked about an event that stays does not."""
    waiting = Flag.response_id == response.id, Flag.settled_at.is_(None), Flag.kind != LEFT_BEHIND
    for flag in session.scalars(select(Flag).where(*waiting)).all():
        flag.response_id, flag.patient_id, flag.timepoint_id = to.id, to.patient_id, to.timepoint_id
    session.flush()


def _is_answered(session: Session, timepoint_id: int) -> bool:
    counted = select(Response.id).where(Response.timepoint_id == timepoint_id, Response.counted)
    return session.scalars(counted).first() is not None


def _has_successor(session: Session, response: Response) -> bool:
    """Whether other answers count in its place by now. Of a visit those entered later do: two parts of one form stand side by side."""
    if response.timepoint_id is not None:
        return _is_answered(session, response.timepoint_id)
    later = Response.finding_id == response.finding_id, Response.counted, Response.recorded_at > response.recorded_at
    return session.scalars(select(Response.id).where(*later)).first() is not None


def _stamp(act: Act) -> Any:
    return {"why": act.why, "now": act.now, "by_id": act.by_id}


def _note(
    session: Session,
    response: Response,
    what: str,
    reason: str,
    act: Act,
    *,
    ground: Ground | None = None,
    moved_to_id: int | None = None,
) -> None:
    grounds = {**ground.__dict__} if ground else {}
    row: Base = ResponseMend(
        response_id=response.id, what=what, reason=reason, moved_to_id=moved_to_id, why=act.why, at=act.now, by_id=act.by_id, **grounds
    )  # fmt: skip
    session.add(row)
    audit(
        session,
        f"response:{what}",
        f"response {response.id}",
        now=act.now,
        by_id=act.by_id,
        reason=reason,
        to=moved_to_id,
    )
    session.flush()


def _restate(session: Session, patient_id: int, act: Act) -> None:
    restate(session, session.get_one(Patient, patient_id), now=act.now, today=act.today, by_id=act.by_id)
