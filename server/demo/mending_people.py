"""What was entered of the wrong person and put right; and who answers for a patient who can no longer decide."""

from collections.abc import Callable
from datetime import timedelta
from functools import partial
from typing import Any

from sqlalchemy import select
from sqlalchemy.orm import Session

from server.clinic.agreed_text import IN_FORCE
from server.clinic.consents import change_capacity, give_consent
from server.clinic.duplicates import possible_duplicates
from server.clinic.leaving import patient_died
from server.clinic.likeness import Likeness
from server.clinic.merge import merge
from server.clinic.merge_plan import plan_merge
from server.clinic.merge_undo import undo_merge
from server.clinic.misplaced import Act, Reader, move_answers, places_for
from server.clinic.withdrawal import undo_end
from server.demo.simulation import Simulation
from server.fields.field import Value
from server.links.make import end_links, revive_link
from server.links.publish import publish_sheet
from server.models import Patient, PatientMerge, Response
from server.queries.clock import the_clinic

TAKEN_FOR_ONE = "Same name, birth date and address."
TWINS = "They are twins; both have called."
THE_TWIN_SAID_IT = "It was the twin who answered on the telephone."
ANOTHER_OF_THAT_NAME = "The notice was about another person of that name; the patient has called."
CANNOT_DECIDE = "The family doctor has written, with the court's decision."
REPRESENTATIVE = "Daughter, +44 7700 900271"


def mend_person(simulation: Simulation, what: str, patient_id: int) -> None:
    """`what`: a word of MENDING."""
    with simulation.runtime.store.writing() as session:
        patient = session.get_one(Patient, patient_id)
        for each in (patient, *MENDING[what](session, patient, simulation)):
            publish_sheet(session, each, library=simulation.runtime.library, now=simulation.now, today=simulation.today)


def spoken_for(simulation: Simulation, patient_id: int) -> None:
    """The patient can no longer decide: the daughter consents again, and the answers from now on are hers."""
    with simulation.runtime.store.writing() as session:
        patient = session.get_one(Patient, patient_id)
        when: Any = {"now": simulation.now, "today": simulation.today, "by_id": simulation.staff.nurse_id}
        lost: dict[str, Value] = {
            "capacity_lost_on": simulation.today,
            "representative": REPRESENTATIVE,
            "capacity_then": "proxy",
        }
        change_capacity(session, patient, lost, why=CANNOT_DECIDE, **when)
        consent: dict[str, Value] = {
            "kind": "contact",
            "notice": IN_FORCE,
            "given_on": simulation.today,
            "given_by": "representative",
            "given_by_name": "the daughter",
        }
        give_consent(session, patient, consent, the_clinic(session), **when)
        session.flush()
        publish_sheet(session, patient, library=simulation.runtime.library, now=simulation.now, today=simulation.today)


def _take_for_one(session: Session, patient: Patient, simulation: Simulation) -> list[Patient]:
    twin = _twin(session, patient)
    merge(session, plan_merge(session, patient, twin), _act(TAKEN_FOR_ONE, simulation), simulation.runtime.keys)
    simulation.plan(simulation.now + timedelta(days=3), partial(mend_person, simulation, "two after all", patient.id))
    return []


def _two_after_all(session: Session, patient: Patient, simulation: Simulation) -> list[Patient]:
    made = session.scalars(select(PatientMerge).where(PatientMerge.kept_id == patient.id)).one()
    undo_merge(session, made, _act(TWINS, simulation), simulation.runtime.keys)
    return [session.get_one(Patient, made.alias_id)]


def _answers_of_the_twin(session: Session, patient: Patient, simulation: Simulation) -> list[Patient]:
    """What was last told on the telephone was entered in the form of the other."""
    twin, reader = _twin(session, patient), Reader(simulation.runtime.keys, simulation.runtime.library)
    told = select(Response).where(Response.patient_id == patient.id, Response.mode == "telephone", Response.counted)
    response = session.scalars(told.order_by(Response.id.desc())).first()
    if response is not None:
        _side, to = places_for(session, response, twin, reader)[0]
        move_answers(session, response, to, "wrong_person", None, _act(THE_TWIN_SAID_IT, simulation), reader)
    return [twin]


def _dead(session: Session, patient: Patient, simulation: Simulation) -> list[Patient]:
    """Lives, as turns out four days later."""
    on = simulation.today - timedelta(days=6)
    patient_died(session, patient, on, now=simulation.now, today=simulation.today, by_id=simulation.staff.nurse_id)
    end_links(session, patient, now=simulation.now)
    simulation.plan(simulation.now + timedelta(days=4), partial(mend_person, simulation, "alive", patient.id))
    return []


def _alive(session: Session, patient: Patient, simulation: Simulation) -> list[Patient]:
    act = _act(ANOTHER_OF_THAT_NAME, simulation)
    undo_end(session, patient, "died", why=act.why, now=act.now, today=act.today, by_id=act.by_id)
    revive_link(session, patient, now=act.now, by_id=act.by_id)
    return []


def _twin(session: Session, patient: Patient) -> Patient:
    """As the enrolment page finds who may be the same."""
    traits = ("first_name", "last_name", "birth_on", "phone", "email")
    alike = possible_duplicates(session, {name: getattr(patient, name) for name in traits})
    return next(each.patient for each in alike if each.likeness == Likeness.TWIN)


def _act(why: str, simulation: Simulation) -> Act:
    return Act(why, simulation.now, simulation.today, simulation.staff.nurse_id)


MENDING: dict[str, Callable[[Session, Patient, Simulation], list[Patient]]] = {
    "taken for one": _take_for_one,
    "two after all": _two_after_all,
    "answers of the twin": _answers_of_the_twin,
    "dead": _dead,
    "alive": _alive,
}
