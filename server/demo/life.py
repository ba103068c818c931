"""Plays one invented patient: enrolment, operations, ends, each entered on its day through the clinic's own functions."""

from datetime import date, datetime, timedelta
from functools import partial
from random import Random
from typing import Any

from server.clinic.enrol import add_operation, enrol
from server.clinic.entries import Enrolment, ShoulderEntry
from server.clinic.leaving import patient_died, transferred, withdrew
from server.clinic.surgery import surgery_cancelled, surgery_done, surgery_moved
from server.demo.follow import Follow
from server.demo.stories import OperationStory, PatientStory
from server.demo.trouble import make_trouble
from server.demo.visits import examine, note_event
from server.demo.world import World
from server.links.make import end_links, live_link
from server.models import Operation, Patient

ENDS = {"died": patient_died, "withdrew": withdrew, "transferred": transferred}


class Life:
    """One story and what became of it."""

    def __init__(self, world: World, story: PatientStory) -> None:
        self.world = world
        self.story = story
        self.random = Random(f"{story.seed}, played")
        self.patient: Patient
        self.follow: Follow

    def begin(self) -> None:
        self.world.plan_act(self.world.office_time(self.story.enrolled_on, self.random), self.enrol)

    def enrol(self, at: datetime) -> None:
        world, story = self.world, self.story
        at_once = [each for each in story.operations if each.entered_on == story.enrolled_on]
        self.patient = enrol(
            world.session,
            enrolment_of(story),
            plan=world.plan,
            clinic=world.clinic,
            new_patient_key=world.runtime.keys.new_patient_key,
            now=at,
            today=world.day(at),
            by_id=world.nurse_id,
        )
        live_link(world.session, self.patient, now=at)
        self.follow = Follow(world, story, self.patient, self.random)
        by_side = {shoulder.side: shoulder.operations[0] for shoulder in self.patient.shoulders}
        for told in at_once:
            self._entered(told, by_side[told.side])
        for told in story.operations:
            if told.entered_on != story.enrolled_on:
                world.plan_act(world.at(told.entered_on, 11, self.random.randint(0, 59)), partial(self._add, told))
        self._plan_rest()
        self.follow.wake_soon(at)

    def _plan_rest(self) -> None:
        world, story = self.world, self.story
        if story.end is not None:
            world.plan_act(world.at(story.end.known_on, 16), self.end)
        for event in story.events:
            world.plan_act(world.at(event.on, 12), partial(note_event, world, self.patient, event))
        if story.trouble is not None:
            world.plan_act(world.until - timedelta(hours=1), partial(make_trouble, self.follow, story.trouble))

    def _add(self, told: OperationStory, at: datetime) -> None:
        if not self._gone():
            entry = _entry(told, self.story.enrolled_on)
            operation = add_operation(self.world.session, self.patient, entry, plan=self.world.plan, **self._around(at))
            self._entered(told, operation)
            self.follow.wake_soon(at)

    def _entered(self, told: OperationStory, operation: Operation) -> None:
        """The operation is written down; now its days are waited for."""
        world = self.world
        self.follow.tell(operation, told)
        for on, planned_on in told.moves:
            world.plan_act(world.at(on, 15, 10), partial(self._move, operation, planned_on))
        if told.cancelled_on is not None:
            world.plan_act(world.at(told.cancelled_on, 15, 30), partial(self._cancel, operation))
        if told.done_on is not None and operation.surgery_on is None:
            world.plan_act(world.at(told.done_on, 17, self.random.randint(0, 40)), partial(self._done, operation, told))
        if told.done_on is not None:
            examine(self, told, operation)

    def _move(self, operation: Operation, to: date | None, at: datetime) -> None:
        surgery_moved(self.world.session, operation, to, **self._around(at))
        self.follow.wake_soon(at)

    def _cancel(self, operation: Operation, at: datetime) -> None:
        on = self.world.day(at)
        surgery_cancelled(
            self.world.session, operation, on, reason="patient decided against surgery", **self._around(at)
        )
        self.follow.wake_soon(at)

    def _done(self, operation: Operation, told: OperationStory, at: datetime) -> None:
        if told.done_on is not None and not self._gone():
            surgery_done(self.world.session, operation, told.done_on, **self._around(at))
            self.follow.wake_soon(at)

    def end(self, at: datetime) -> None:
        if self.story.end is not None:
            ENDS[self.story.end.reason](self.world.session, self.patient, self.story.end.on, **self._around(at))
            end_links(self.world.session, self.patient, now=at)
            self.follow.wake_soon(at)

    def _gone(self) -> bool:
        patient = self.patient
        return any(on is not None for on in (patient.died_on, patient.withdrew_on, patient.transferred_on))

    def _around(self, at: datetime) -> Any:
        world = self.world
        return {"now": at, "today": world.day(at), "by_id": world.nurse_id}


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
        shoulders=tuple(_entry(each, story.enrolled_on) for each in operations),
        channel_order=tuple(person.channel_order.split(",")),
    )


def _entry(told: OperationStory, enrolled_on: date) -> ShoulderEntry:
    """As it was known on the day of entry: done only if it lay before."""
    before = told.done_on is not None and told.done_on < enrolled_on
    return ShoulderEntry(
        side=told.side,
        kind=told.kind,
        surgery_on=told.done_on if before else None,
        surgery_planned_on=None if before else told.planned_on,
        **told.facts,
    )
