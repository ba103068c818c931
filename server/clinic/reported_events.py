"""What a patient reported in an answer becomes an event by one click: reported, with the answer as its source.

It follows its answer: it moves where that moves, and is marked as entered in error when that is set aside. What was confirmed or judged
since has another source, and stays: the pages say so, and a person decides.
"""

from collections.abc import Mapping
from datetime import date, datetime

from sqlalchemy import select
from sqlalchemy.orm import Session

from scoring.library import Library, UnknownInstrument
from server.clinic.events import SaidIn, record_event
from server.clinic.history import change_row, note_change
from server.clinic.recorded import bring_back, take_back
from server.fields.check import EntryRefused
from server.fields.day_words import day_words
from server.fields.field import Value
from server.forms.stored import StoredAnswer, StoredAnswers
from server.models import ClinicEvent, ClinicFinding, Flag, Patient, Response, Shoulder, Timepoint
from server.queries.clock import clinic_day, the_clinic
from server.trust.audit import audit

# Items of the project's own forms that report an event, each with its kind. `other`: a sign, not yet a diagnosis.
REPORTABLE: Mapping[tuple[str, str], str] = {
    ("since", "1"): "operated_again",
    ("since", "7"): "infection",
    ("since", "8"): "instability",
    ("since", "9"): "injury",
    ("since", "10"): "other",
    ("early", "2"): "superficial_soft_tissue",
    ("early", "3"): "other",
    ("early", "4"): "other",
    ("early", "5"): "other",
    ("early", "6"): "other",
    ("early", "7"): "other",
}
# "In the last two weeks" speaks of the same event as the item before it.
RECENT: Mapping[tuple[str, str], str] = {("since", f"{item}a"): item for item in ("7", "8", "9", "10")}
MONTH_OF_OPERATION = "1a"
LEFT_BEHIND = "event_left_behind"


def reportable(item: str | None) -> str | None:
    """The item that reports the event, such as `since@2/7` for `since@2/7a`; None for one that reports none."""
    spec, _, name = (item or "").partition("/")
    instrument = spec.partition("@")[0]
    name = RECENT.get((instrument, name), name)
    return f"{spec}/{name}" if (instrument, name) in REPORTABLE else None


def event_of_answer(
    session: Session,
    response: Response,
    item: str,
    answers: StoredAnswers,
    *,
    library: Library,
    now: datetime,
    today: date,
    by_id: int,
) -> ClinicEvent:
    """The event of one answer, which is made once: the second click finds the first one's. `item`: as `reportable` gives it.

    Raises KeyError when the response has no such answer, EntryRefused when the event cannot be.
    """
    there = made_of(session, response.id).get(item)
    if there is not None:
        return there
    if response.set_aside_at is not None:
        raise EntryRefused(
            {"item": ["These answers are set aside and count for nothing, so nothing follows from them."]}
        )
    spec, _, name = item.partition("/")
    given = next(part.answers for part in answers.parts if part.instrument == spec)
    if given[name].state != "answered" or given[name].value == 0:
        raise KeyError(item)
    answered_on = clinic_day(the_clinic(session), response.finished_at)
    kind = REPORTABLE[spec.partition("@")[0], name]
    values: dict[str, Value] = {
        "kind": kind,
        "kind_other": _topic(library, spec, name) if kind == "other" else None,
        "certainty": "reported",
        "source_kind": "relative" if response.answered_by == "someone_else" else "patient",
        "source": f"Form answered on {day_words(answered_on)}. {_day_words(given)}",
        **_when(spec, name, given, answered_on),
    }
    source = SaidIn(response.id, item, answered_on)
    shoulder = shoulder_of(session, response)
    return record_event(session, shoulder, values, now=now, today=today, by_id=by_id, said_in=source)


def made_of(session: Session, response_id: int) -> Mapping[str | None, ClinicEvent]:
    """The event that was made of each item of these answers, taken back or not."""
    made = select(ClinicEvent).where(ClinicEvent.response_id == response_id).order_by(ClinicEvent.id)
    return {each.item: each for each in session.scalars(made)}


def when_operated(answers: StoredAnswers, answered_on: date) -> tuple[date, str] | None:
    """When the shoulder was operated on again, as exactly as the form asked; None where the answers do not say that it was."""
    for part in answers.parts:
        again = part.answers.get("1") if part.instrument.startswith("since@") else None
        if again is not None and again.state == "answered" and again.value == 1:
            when = _when(part.instrument, "1", part.answers, answered_on)
            return when["happened_on"], when["happened_precision"]  # type: ignore[return-value]
    return None


def _when(spec: str, name: str, given: Mapping[str, StoredAnswer], answered_on: date) -> dict[str, Value]:
    """As exactly as the form asked: a month, the last two weeks, or no more than the year of the answer."""
    told = given.get(MONTH_OF_OPERATION)
    if name == "1" and told is not None and told.state == "answered":
        return {"happened_on": date.fromisoformat(f"{told.value}-01"), "happened_precision": "month"}
    recent = given.get(f"{name}a")
    lately = recent is not None and recent.state == "answered" and recent.value == 1
    if lately or spec.startswith("early"):
        return {"happened_on": answered_on.replace(day=1), "happened_precision": "month"}
    return {"happened_on": answered_on.replace(month=1, day=1), "happened_precision": "year"}


def _day_words(given: Mapping[str, StoredAnswer]) -> str:
    told = given.get(MONTH_OF_OPERATION)
    return "The month is the patient's." if told is not None and told.state == "answered" else "The day was not asked."


def _topic(library: Library, spec: str, name: str) -> str:
    try:
        topic = library.instrument(spec).by_item[name].topic
    except (UnknownInstrument, KeyError):
        topic = f"{spec}/{name}"
    return f"{topic}, as the patient says"[:200]


def shoulder_of(session: Session, response: Response) -> Shoulder:
    """The shoulder whose form it answers, or that was examined at the visit at which it was taken."""
    if response.timepoint_id is not None:
        return session.get_one(Timepoint, response.timepoint_id).follow_up.operation.shoulder
    return session.get_one(Shoulder, session.get_one(ClinicFinding, response.finding_id).shoulder_id)


def said_in(session: Session, response: Response) -> list[ClinicEvent]:
    """The events that were made of these answers and count."""
    made = select(ClinicEvent).where(ClinicEvent.response_id == response.id, ClinicEvent.taken_back_at.is_(None))
    return list(session.scalars(made.order_by(ClinicEvent.id)))


def has_lost_its_answer(session: Session, event: ClinicEvent) -> bool:
    """It counts, and the answer of which it was made counts no longer, or is another shoulder's by now."""
    response = session.get(Response, event.response_id) if event.response_id else None
    if response is None or event.taken_back_at is not None:
        return False
    return response.set_aside_at is not None or shoulder_of(session, response).id != event.shoulder_id


def set_aside_with(session: Session, response: Response, *, why: str, now: datetime, by_id: int) -> None:
    """What was only reported was said in these answers and nowhere else, so it counts no longer; nor is it asked about any more."""
    said = f"The answers in which it was said were set aside: {why}"
    for event in said_in(session, response):
        if event.certainty == "reported":
            take_back(session, event, why=said, now=now, by_id=by_id)
    asked = select(Flag).where(
        Flag.response_id == response.id, Flag.kind == "event_reported", Flag.settled_at.is_(None)
    )
    for flag in session.scalars(asked).all():
        _settle(session, flag, said, now, by_id)
    _ask_about_left_behind(session, response, now, by_id)


def _raise_left_behind(session: Session, event: ClinicEvent, now: datetime, by_id: int) -> None:
    patient_id = session.get_one(Shoulder, event.shoulder_id).patient_id
    about = {"patient_id": patient_id, "response_id": event.response_id, "item": event.item}
    flag = Flag(kind=LEFT_BEHIND, **about, raised_at=now)
    session.add(flag)
    session.flush()
    audit(session, "flag:raised", f"flag {flag.id}", now=now, by_id=by_id, kind=flag.kind)


def _open_again(session: Session, flag: Flag, now: datetime, by_id: int) -> None:
    """The history keeps who had settled it, when and with which note: the page of the flag shows that."""
    settled = {"settled_at": None, "settled_by_id": None, "settled_note": None}
    change_row(session, flag, settled, now=now, by_id=by_id)
    flag.raised_at = now
    audit(session, "flag:reopened", f"flag {flag.id}", now=now, by_id=by_id, kind=flag.kind)


def _settle(session: Session, flag: Flag, note: str, now: datetime, by_id: int) -> None:
    flag.settled_at, flag.settled_by_id, flag.settled_note = now, by_id, note
    audit(session, "flag:settled", f"flag {flag.id}", now=now, by_id=by_id, kind=flag.kind)


def _ask_about_left_behind(session: Session, response: Response, now: datetime, by_id: int) -> None:
    """What was confirmed stays where its answers go: a person decides about it, unless the answers are back."""
    for event in said_in(session, response):
        of_event = Flag.response_id == response.id, Flag.kind == LEFT_BEHIND, Flag.item == event.item
        flag = session.scalars(select(Flag).where(*of_event)).one_or_none()
        if event.certainty != "reported" and has_lost_its_answer(session, event):
            if flag is None:
                _raise_left_behind(session, event, now, by_id)
            elif flag.settled_at is not None:
                _open_again(session, flag, now, by_id)
        elif flag is not None and flag.settled_at is None:
            _settle(session, flag, "The answers are back where they were.", now, by_id)
    session.flush()


def bring_back_with(
    session: Session, response: Response, set_aside_at: datetime, *, why: str, now: datetime, by_id: int
) -> None:
    """The answers count again, and so does what stopped counting with them."""
    made = select(ClinicEvent).where(ClinicEvent.response_id == response.id)
    for event in session.scalars(made.where(ClinicEvent.taken_back_at == set_aside_at).order_by(ClinicEvent.id)).all():
        bring_back(session, event, why=why, now=now, by_id=by_id)
    _ask_about_left_behind(session, response, now, by_id)


def move_with(session: Session, before: Response, after: Response, *, why: str, now: datetime, by_id: int) -> None:
    """`after`: the same answers where they are now; the same response where only its shoulder has changed."""
    to = shoulder_of(session, after)
    there = select(ClinicEvent.item).where(ClinicEvent.response_id == after.id)
    made = set(session.scalars(there)) if after.id != before.id else set()
    for event in said_in(session, before):
        if event.certainty != "reported":
            continue
        if event.item in made:  # somebody has made it of the moved answers once more
            take_back(session, event, why=why, now=now, by_id=by_id)
            continue
        if event.shoulder_id != to.id:
            whose = _whose(session, session.get_one(Shoulder, event.shoulder_id)), _whose(session, to)
            note_change(session, event, "whose", *whose, now=now, by_id=by_id, why=why)
            event.shoulder_id = to.id
            change_row(session, event, {"recorded_as_id": None}, now=now, by_id=by_id, why=why)
        event.response_id = after.id
    session.flush()
    _ask_about_left_behind(session, before, now, by_id)


def _whose(session: Session, shoulder: Shoulder) -> str:
    return f"{session.get_one(Patient, shoulder.patient_id).study_number}, {shoulder.side}"
