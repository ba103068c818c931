"""The random quarter of the silent: drawn by lot before anybody calls, and pursued to the end.

In the frame is everybody who takes part and may be contacted, of whom a form after surgery waits though its last reminder went, the window
being open, and whose lot about this form was not cast before. Of a window that has closed nobody is drawn any more, since what is then
answered is an answer of another time. Not in it: whom somebody called since the form opened, about whichever form and reached or not,
since who is still silent after a call is not like the others; who does not want to answer this form, whose form stays back for a text, and
of whom somebody said what has to be settled first. Messages and letters by hand are reminders, and nobody is left out for them.

One lot a person: who is called is asked about all that waits. Everybody whose lot was cast is kept with the draw, as the drawn stand for
them. Casting them is one transaction.
"""

from collections.abc import Sequence
from datetime import date, datetime
from itertools import groupby
from secrets import token_hex

from sqlalchemy import Row, Select, func, or_, select
from sqlalchemy.orm import Session

from server.models import Consent, ContactAttempt, FollowUp, Operation, Patient, SilenceDraw, Timepoint
from server.queries.clock import clinic_day, the_clinic
from server.queries.current import COUNTED, STANDS, waits_for_answer
from server.queries.pause import paused_patients
from server.queries.research import stands
from server.schedule.after_contact import ENDING
from server.schedule.lots import QUARTER, drawn
from server.schedule.timepoint_code import BEFORE_SURGERY
from server.trust.audit import audit

CALLS = ("telephone", "in_person")  # ways of a try that speaks to somebody


def people_without_lot(session: Session, today: date) -> int:
    """How many people the next draw would be among."""
    return len({row.study_number for row in _not_called(session, session.execute(_frame(today)).all())})


def draw_quarter(
    session: Session, *, now: datetime, today: date, by_id: int | None, seed: str | None = None
) -> SilenceDraw | None:
    """Casts a lot for each person of the frame. None, and nothing is written, where there is nobody.

    `seed`: for an invented clinic alone, which is the same each time; else nobody can choose or foresee it.
    """
    rows = _not_called(session, session.execute(_frame(today).with_for_update(of=Timepoint)).all())
    if not rows:
        return None
    numbers = {row.study_number for row in rows}
    seed = seed or token_hex(16)
    chosen = drawn(seed, numbers)
    draw = SilenceDraw(
        drawn_on=today, drawn_at=now, drawn_by_id=by_id, seed=seed, probability=QUARTER,
        people=len(numbers), people_drawn=len(chosen),
    )  # fmt: skip
    session.add(draw)
    session.flush()
    for row in rows:
        timepoint: Timepoint = row.Timepoint
        timepoint.lot_cast_on, timepoint.draw_id = today, draw.id
        if row.study_number in chosen:
            timepoint.drawn_on, timepoint.drawing_probability = today, QUARTER
    detail = {"seed": seed, "people": len(numbers), "people_drawn": len(chosen), "timepoints": len(rows)}
    audit(session, "silence:drawn", f"silence_draw {draw.id}", now=now, by_id=by_id, **detail)
    session.flush()
    return draw


def _frame(today: date) -> Select[Timepoint, str]:
    """In the order of their ids, so that two who draw at one moment wait for each other and not in a ring."""
    refused = Timepoint.last_try.in_(sorted(ENDING))
    return (
        select(Timepoint, Patient.study_number)
        .join(FollowUp, FollowUp.id == Timepoint.follow_up_id)
        .join(Operation, Operation.id == FollowUp.operation_id)
        .join(Patient, Patient.id == Timepoint.patient_id)
        .where(
            waits_for_answer(today),
            Timepoint.ladder_exhausted_on <= today,
            Timepoint.code != str(BEFORE_SURGERY),
            Timepoint.lot_cast_on.is_(None),
            Timepoint.withheld_on.is_(None),
            or_(Timepoint.last_try.is_(None), ~refused),
            COUNTED,
            STANDS,
            Patient.id.not_in(paused_patients()),
            *(
                Patient.id.in_(select(Consent.patient_id).where(*stands(today, kind)))
                for kind in ("research", "contact")
            ),
        )
        .order_by(Timepoint.id)
    )


def _not_called(session: Session, rows: Sequence[Row[Timepoint, str]]) -> list[Row[Timepoint, str]]:
    """Without those whom somebody called since the form opened."""
    called = select(ContactAttempt.patient_id, func.max(ContactAttempt.at)).where(
        ContactAttempt.patient_id.in_({row.Timepoint.patient_id for row in rows}),
        ContactAttempt.channel.in_(CALLS),
        ContactAttempt.taken_back_at.is_(None),
    )
    clinic = the_clinic(session)
    last = {of: clinic_day(clinic, at) for of, at in session.execute(called.group_by(ContactAttempt.patient_id))}
    return [row for row in rows if last.get(row.Timepoint.patient_id, date.min) < row.Timepoint.opens_on]


def draws_made(session: Session) -> Sequence[SilenceDraw]:
    """The last one first."""
    return session.scalars(select(SilenceDraw).order_by(SilenceDraw.id.desc())).all()


def lots_of(session: Session, draw: SilenceDraw) -> list[tuple[str, tuple[str, ...], bool]]:
    """Everybody whose lot was cast: the study number, the timepoints, and whether it was drawn."""
    query = select(Patient.study_number, Timepoint.code, Timepoint.drawn_on)
    query = query.join(Timepoint, Timepoint.patient_id == Patient.id).where(Timepoint.draw_id == draw.id)
    rows = session.execute(query.order_by(Patient.study_number, Timepoint.id)).all()
    return [
        (number, tuple(row.code for row in of_number), of_number[0].drawn_on is not None)
        for number, of_number in ((number, list(of)) for number, of in groupby(rows, key=lambda row: row.study_number))
    ]
