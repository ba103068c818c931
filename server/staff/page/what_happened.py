"""Events and findings of a patient in words, for the patient's page and for the pages on which they are entered."""

from collections.abc import Iterable
from dataclasses import dataclass

from sqlalchemy import select
from sqlalchemy.orm import Session

from server.fields.event import EVENT_KINDS, SOURCE_KINDS, TREATMENTS
from server.fields.event_grade import grade_of
from server.fields.field import named
from server.fields.finding import FINDING, LEVELS
from server.models import ClinicEvent, ClinicFinding, Patient, Shoulder
from server.staff.page import words
from server.staff.page.recorded_fields import shown
from server.staff.page.visit_forms import totals_of
from server.words import labels
from server.words.phrase import phrase

SHORT_MOTION = (
    ("flexion_degrees", phrase("flexion %(value)s°")),
    ("abduction_degrees", phrase("abduction %(value)s°")),
    ("external_rotation_degrees", phrase("external rotation %(value)s°")),
)
NOT_QUIET = ("none", "unknown", "not_assessable")  # of a radiograph: everything else is worth a word


@dataclass(frozen=True)
class Happened:
    """`certainty`: how sure it is, in a word. `more`: sentences. `taken_back`: it was entered in error and counts nowhere."""

    id: int
    side: str
    day: str
    title: str
    certainty: str
    sure: bool
    more: str
    taken_back: bool


@dataclass(frozen=True)
class Found:
    id: int
    side: str
    day: str
    examiner: str
    said: str
    taken_back: bool


def events_of(session: Session, patient: Patient) -> list[Happened]:
    """The newest first."""
    query = select(ClinicEvent, Shoulder.side).join(Shoulder, Shoulder.id == ClinicEvent.shoulder_id)
    rows = session.execute(
        query.where(Shoulder.patient_id == patient.id).order_by(ClinicEvent.happened_on.desc(), ClinicEvent.id.desc())
    )
    return [happened(event, side) for event, side in rows]


def happened(event: ClinicEvent, side: str) -> Happened:
    return Happened(
        id=event.id,
        side=side,
        day=words.exact_day(event.happened_on, event.happened_precision),
        title=title_of(event),
        certainty=words.say(labels.CERTAINTY[event.certainty]),
        sure=event.certainty != "reported",
        more=" ".join(f"{words.sentence(each.rstrip('.'))}." for each in _more(event)),
        taken_back=event.taken_back_at is not None,
    )


def title_of(event: ClinicEvent) -> str:
    if event.recorded_as is not None:
        return words.gettext("Operated again, recorded as an operation")
    return words.sentence(event.kind_other if event.kind == "other" and event.kind_other else EVENT_KINDS[event.kind])


def _more(event: ClinicEvent) -> Iterable[str]:
    who = words.say(SOURCE_KINDS[event.source_kind])
    known = words.gettext("known from %(source)s") % {"source": who}
    yield f"{known}: {event.source}" if event.source else known
    if event.judged_by and event.judged_on:
        by = {"person": event.judged_by, "day": words.day(event.judged_on)}
        judged = words.gettext("judged by %(person)s on %(day)s"), words.gettext("confirmed by %(person)s on %(day)s")
        yield judged[event.certainty == "confirmed"] % by
    if event.treatment is not None:
        yield words.gettext("treatment: %(treatment)s") % {
            "treatment": event.procedure or words.say(TREATMENTS[event.treatment])
        }
    grade = grade_of(event.kind, event.treatment, event.lasting_harm)
    if grade is not None:
        yield words.gettext("grade %(grade)s") % {"grade": grade}


def findings_of(session: Session, patient: Patient) -> list[Found]:
    """The newest first."""
    totals = totals_of(session, patient.id)
    query = select(ClinicFinding, Shoulder.side).join(Shoulder, Shoulder.id == ClinicFinding.shoulder_id)
    rows = session.execute(
        query.where(Shoulder.patient_id == patient.id).order_by(
            ClinicFinding.examined_on.desc(), ClinicFinding.id.desc()
        )
    )
    return [
        Found(
            id=finding.id,
            side=side,
            day=words.day(finding.examined_on),
            examiner=finding.examiner,
            said=words.sentence(", ".join(_said(finding, totals.get(finding.id))))
            or words.gettext("Nothing measured."),
            taken_back=finding.taken_back_at is not None,
        )
        for finding, side in rows
    ]


def _said(finding: ClinicFinding, constant: float | None) -> Iterable[str]:
    if constant is not None:
        yield words.gettext("Constant score %(total)s") % {"total": words.number(round(constant, 1))}
    for name, said in SHORT_MOTION:
        value = getattr(finding, name)
        if value is not None:
            yield words.say(said) % {"value": value}
    if finding.internal_rotation is not None:
        yield words.gettext("internal rotation %(level)s") % {"level": words.say(LEVELS[finding.internal_rotation])}
    if finding.strength is not None:
        unit = "N" if finding.strength_unit == "n" else finding.strength_unit
        yield words.gettext("strength %(strength)s") % {"strength": f"{finding.strength:g} {unit}"}
    for name in ("loosening", "migration", "glenoid_erosion", "fracture", "breakage", "displacement", "necrosis"):
        value = getattr(finding, name)
        if value is not None and value not in NOT_QUIET:
            field = named(FINDING, name)
            label = words.say(field.label)
            yield f"{label[0].lower()}{label[1:]}: {shown(field, value)}"
