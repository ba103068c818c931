"""What a patient reported in an answer becomes an event by one click: reported, with the answer as its source."""

from collections.abc import Mapping
from datetime import date, datetime

from sqlalchemy import select
from sqlalchemy.orm import Session

from scoring.library import Library, UnknownInstrument
from server.clinic.events import SaidIn, record_event
from server.fields.field import Value
from server.forms.stored import StoredAnswer, StoredAnswers
from server.models import ClinicEvent, Response, Timepoint
from server.queries.clock import clinic_day, the_clinic

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
    made = select(ClinicEvent).where(ClinicEvent.response_id == response.id, ClinicEvent.item == item)
    there = session.scalars(made).one_or_none()
    if there is not None:
        return there
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
        "source": f"Form answered on {answered_on}. {_day_words(given)}",
        **_when(spec, name, given, answered_on),
    }
    shoulder = session.get_one(Timepoint, response.timepoint_id).follow_up.operation.shoulder
    said_in = SaidIn(response.id, item)
    return record_event(session, shoulder, values, now=now, today=today, by_id=by_id, said_in=said_in)


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
