"""What the form about a try to reach a patient offers: each result with what follows from it, and what the try can be about."""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date

from sqlalchemy import select
from sqlalchemy.orm import Session

from server.fields.person import ATTEMPT_RESULTS
from server.models import FollowUp, Operation, Patient, Shoulder, Timepoint
from server.queries.current import waits_for_answer
from server.queries.facts import last_day_of
from server.schedule.after_contact import TABLE, Reminders, again_on
from server.staff.page import words
from server.words.phrase import phrase
from server.worklist.words import TRIED, title


@dataclass(frozen=True)
class AttemptForm:
    """`results`: word, what it is called, what follows. `about`: id of each open timepoint with its words; empty where there are no two.

    `hidden` travels along; with `focus` the form is what the page was opened for. `second_contact`: whether there is one to try.
    """

    results: list[tuple[str, str, str]]
    about: list[tuple[str, str]]
    hidden: Mapping[str, str]
    focus: bool
    second_contact: bool


def attempt_form(
    session: Session, patient_id: int, *, today: date, hidden: Mapping[str, str] | None = None, focus: bool = False
) -> AttemptForm:
    """For one patient, with the days as they would be if it were sent today."""
    query = (
        select(Timepoint.id, Shoulder.side, Timepoint.code, Timepoint.closes_on, Timepoint.anchor_on)
        .join(FollowUp, FollowUp.id == Timepoint.follow_up_id)
        .join(Operation, Operation.id == FollowUp.operation_id)
        .join(Shoulder, Shoulder.id == Operation.shoulder_id)
        .where(Timepoint.patient_id == patient_id, waits_for_answer(today))
        .order_by(Timepoint.due_on, Timepoint.id)
    )
    rows = session.execute(query).all()
    waiting = [(str(row.id), words.say(title(row.side, row.code))) for row in rows]
    first_end = min((day for day in map(last_day_of, rows) if day is not None), default=None)
    results = [
        (code, words.sentence(words.say(TRIED[code])), _follows(code, today, first_end)) for code in ATTEMPT_RESULTS
    ]
    has_second = select(Patient.id).where(Patient.id == patient_id, Patient.second_contact.is_not(None))
    about = waiting if len(waiting) > 1 else []
    return AttemptForm(results, about, hidden or {}, focus, session.scalar(has_second) is not None)


def _follows(code: str, today: date, last_day: date | None) -> str:
    again, reminders = again_on(code, today, last_day), TABLE[code].reminders
    if reminders == Reminders.END:
        return words.say(phrase("no reminder about the form goes any more; not back by itself"))
    if reminders == Reminders.REST:
        return words.say(phrase("back on %(day)s; reminders rest until then", day=again))
    return words.say(phrase("back on %(day)s", day=again))
