"""Plays one invented patient: enrolment, operations and ends, each entered on its day by the functions behind the staff pages."""

from dataclasses import replace
from datetime import date, timedelta
from functools import partial
from random import Random
from typing import Any

from sqlalchemy.orm import Session

from server.clinic.components import in_the_shoulder
from server.clinic.consents import give_consent
from server.clinic.enrol import add_operation, enrol
from server.clinic.entries import CONSENT_VERSION, Enrolment, ShoulderEntry
from server.clinic.leaving import DeathTold, patient_died, transferred
from server.clinic.operation_entry import ComponentsEntry, Desk, correct_operation
from server.clinic.surgery import surgery_cancelled
from server.clinic.withdrawal import Wish, withdraw
from server.demo.answering import Answering
from server.demo.mending import AFTER_DAYS, make_one, mend, number_patient
from server.demo.mending_people import mend_person, spoken_for
from server.demo.paper import type_in
from server.demo.simulation import Simulation
from server.demo.stories import OperationStory, PatientStory
from server.demo.trouble import make_trouble
from server.demo.visits import plan_events, plan_visits
from server.fields.field import Value
from server.fields.operation_words import KINDS
from server.links.make import end_links, live_link
from server.links.publish import publish_sheet
from server.models import Operation, Patient
from server.queries.clock import the_clinic
from server.queries.facts import left_on
from server.timepoints.plans import read_plans

# How the clinic heard of a death.
DEATHS_TOLD = (
    DeathTold("relative", "reported"),
    DeathTold("gp", "confirmed"),
    DeathTold("death_register", "confirmed"),
)


class Life:
    """One story and what became of it."""

    def __init__(self, simulation: Simulation, story: PatientStory) -> None:
        self.simulation = simulation
        self.story = story
        self.random = Random(f"{story.seed}, played")
        self.patient_id = 0
        self.alias_id = 0  # of a second record of the same person
        self.answering: Answering

    def enrol(self) -> None:
        """Enters the patient, makes the link, and plans everything that is known to come."""
        simulation, story = self.simulation, self.story
        with simulation.runtime.store.writing() as session:
            clinic = the_clinic(session)
            patient = enrol(
                session,
                enrolment_of(story),
                plan=read_plans(session).named(clinic.default_plan),
                clinic=clinic,
                new_patient_key=simulation.runtime.keys.new_patient_key,
                **self._entered(),
            )
            live_link(session, patient, now=simulation.now)
            number_patient(session, patient, simulation)
            if story.died_before:
                self._consented_on_paper(session, patient)
            if not story.on_paper:  # that is left to the next pass, which publishes many at once
                self._publish(session, patient)
            self.patient_id = patient.id
            ids = {shoulder.side: shoulder.operations[0].id for shoulder in patient.shoulders}
            for each in story.operations:
                if each.entered_on == story.enrolled_on:
                    self._complete(session, session.get_one(Operation, ids[each.entered_side]), each)
        self.answering = Answering(simulation, story, self.patient_id, {})
        for operation_story in story.operations:
            if operation_story.entered_on == story.enrolled_on:
                self._plan_operation(operation_story, ids[operation_story.entered_side])
            else:
                at = simulation.at(operation_story.entered_on, 11, self.random.randint(0, 59))
                simulation.plan(at, partial(self._add, operation_story))
        self._plan_rest()

    def _consented_on_paper(self, session: Session, patient: Patient) -> None:
        """When operated on, to be followed up: the paper lies in the binder of somebody who has died since."""
        signed: dict[str, Value] = {
            "kind": "research",
            "version": CONSENT_VERSION,
            "given_on": self.story.operations[0].done_on,
            "given_by": "self",
        }
        give_consent(session, patient, signed, the_clinic(session), **self._entered())

    def _plan_rest(self) -> None:
        simulation, story = self.simulation, self.story
        if story.on_paper:
            at = simulation.at(simulation.today + timedelta(days=1), 15)
            simulation.plan(at, partial(type_in, self.answering))
        else:
            simulation.plan(simulation.now + timedelta(minutes=15), simulation.pass_)
        if story.end is not None:
            simulation.plan(simulation.at(story.end.known_on, 16), self._end)
        plan_events(simulation, story, self.patient_id)
        for what, on in story.mended:
            simulation.plan(simulation.at(on, 10, 30), partial(mend_person, simulation, what, self.patient_id))
        if story.spoken_for_from is not None:
            simulation.plan(simulation.at(story.spoken_for_from, 10), partial(spoken_for, simulation, self.patient_id))
        if story.trouble is not None:
            act = partial(make_trouble, self.answering, story.trouble)
            simulation.plan(simulation.until - timedelta(hours=1), act)

    def _plan_operation(self, operation_story: OperationStory, operation_id: int) -> None:
        """The operation is written down; now its days are waited for."""
        simulation = self.simulation
        self.answering.operations[operation_id] = operation_story
        for on, planned_on in operation_story.moves:
            simulation.plan(simulation.at(on, 15, 10), partial(self._move, operation_id, planned_on))
        if operation_story.cancelled_on is not None:
            simulation.plan(simulation.at(operation_story.cancelled_on, 15, 30), partial(self._cancel, operation_id))
        if operation_story.done_on is not None:
            for what in operation_story.mended:
                at = simulation.at(operation_story.done_on + timedelta(days=AFTER_DAYS[what]), 14)
                simulation.plan(at, partial(mend, simulation, what, operation_id))
            if operation_story.done_on >= operation_story.entered_on:
                at = simulation.at(operation_story.done_on, 17, self.random.randint(0, 40))
                simulation.plan(at, partial(self._done, operation_id, operation_story.done_on, operation_story))
            if KINDS[operation_story.kind].starts_follow_up:
                plan_visits(simulation, self.story, operation_story, self.patient_id)

    def _add(self, operation_story: OperationStory) -> None:
        if operation_story.duplicate:
            self._enrol_again(operation_story)
            return
        with self.simulation.runtime.store.writing() as session:
            patient = session.get_one(Patient, self.patient_id)
            if left_on(patient) is not None:
                return
            plan = read_plans(session).named(the_clinic(session).default_plan)
            operation = add_operation(session, patient, _entry(operation_story), plan=plan, **self._entered())
            self._complete(session, operation, operation_story)
            self._publish(session, patient)
            operation_id = operation.id
        self._plan_operation(operation_story, operation_id)

    def _enrol_again(self, operation_story: OperationStory) -> None:
        """Nobody noticed that the patient is known; the day after somebody does."""
        simulation, again = self.simulation, replace(self.story, enrolled_on=operation_story.entered_on)
        with simulation.runtime.store.writing() as session:
            clinic = the_clinic(session)
            alias = enrol(
                session,
                enrolment_of(again),
                plan=read_plans(session).named(clinic.default_plan),
                clinic=clinic,
                new_patient_key=simulation.runtime.keys.new_patient_key,
                **self._entered(),
            )
            live_link(session, alias, now=simulation.now)
            self._publish(session, alias)
            self.alias_id = alias.id
            operation_id = alias.shoulders[0].operations[0].id
        self._plan_operation(operation_story, operation_id)
        at = simulation.now + timedelta(days=1)
        simulation.plan(at, partial(make_one, simulation, self.patient_id, self.alias_id))

    def _move(self, operation_id: int, to: date | None) -> None:
        with self.simulation.runtime.store.writing() as session:
            operation = session.get_one(Operation, operation_id)
            values: dict[str, Value] = {"surgery_planned_on": to}
            correct_operation(session, operation, values, ComponentsEntry(), None, Desk(**self._entered()))
            self._publish(session, session.get_one(Patient, self.patient_id))

    def _cancel(self, operation_id: int) -> None:
        with self.simulation.runtime.store.writing() as session:
            operation, reason = session.get_one(Operation, operation_id), "patient decided against surgery"
            surgery_cancelled(session, operation, self.simulation.today, reason=reason, **self._entered())
            self._publish(session, session.get_one(Patient, self.patient_id))

    def _complete(
        self, session: Session, operation: Operation, operation_story: OperationStory, on: date | None = None
    ) -> None:
        """Once it is done: the day, what was in the shoulder and comes out, and the components that go in."""
        if on is None and operation.surgery_on is None:
            return
        new = {f"n{number}-": values for number, values in enumerate(operation_story.facts["components"], 1)}
        there = in_the_shoulder(session, operation.shoulder) if KINDS[operation.kind].exchanges else []
        out = frozenset(each.id for each in there)
        plan = read_plans(session).named(the_clinic(session).default_plan)
        values: dict[str, Value] = {"surgery_on": on} if on else {}
        correct_operation(
            session, operation, values, ComponentsEntry(new, taken_out=out), plan, Desk(**self._entered())
        )

    def _done(self, operation_id: int, on: date, operation_story: OperationStory) -> None:
        with self.simulation.runtime.store.writing() as session:
            patient = session.get_one(Patient, self.patient_id)
            if left_on(patient) is None:
                self._complete(session, session.get_one(Operation, operation_id), operation_story, on)
                self._publish(session, patient)

    def _end(self) -> None:
        end = self.story.end
        if end is None:
            return
        with self.simulation.runtime.store.writing() as session:
            patient = session.get_one(Patient, self.patient_id)
            if end.reason == "died":
                told = DEATHS_TOLD[patient.id % len(DEATHS_TOLD)]
                patient_died(session, patient, end.on, told=told, **self._entered())
            elif end.reason == "transferred":
                transferred(session, patient, end.on, **self._entered())
            else:
                withdraw(session, patient, end.on, Wish(end.extent, "said on the telephone"), **self._entered())
            if end.ends_all:
                end_links(session, patient, now=self.simulation.now)
            else:
                self._publish(session, patient)

    def _publish(self, session: Session, patient: Patient) -> None:
        """As every page that changed something about a patient does at its end."""
        library, simulation = self.simulation.runtime.library, self.simulation
        session.flush()
        publish_sheet(session, patient, library=library, now=simulation.now, today=simulation.today)

    def _entered(self) -> Any:
        simulation = self.simulation
        return {"now": simulation.now, "today": simulation.today, "by_id": simulation.staff.nurse_id}


def enrolment_of(story: PatientStory) -> Enrolment:
    """What is typed in on the day of enrolment: the operations that are known by then."""
    person = story.person
    operations = [each for each in story.operations if each.entered_on == story.enrolled_on]
    return Enrolment(
        first_name=person.first_name,
        last_name=person.last_name,
        birth_on=person.birth_on,
        sex=person.sex,
        language=person.language,
        email=person.email,
        phone=person.phone,
        address=person.address,
        second_contact=person.second_contact,
        consents=story.consents,
        shoulders=tuple(_entry(each) for each in operations),
        channel_order=tuple(person.channel_order.split(",")),
    )


def _entry(operation_story: OperationStory) -> ShoulderEntry:
    """As it was known on the day of entry: done only if it lay before."""
    before = operation_story.done_on is not None and operation_story.done_on < operation_story.entered_on
    return ShoulderEntry(
        side=operation_story.entered_side,
        kind=operation_story.kind,
        surgery_on=operation_story.done_on if before else None,
        surgery_planned_on=None if before else operation_story.planned_on,
        **{name: value for name, value in operation_story.facts.items() if name != "components"},
    )
