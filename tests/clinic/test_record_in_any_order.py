"""Enrolled, operated, revised, corrected, merged, undone, withdrawn, died, in any order: the record stays true and is counted right."""

import tempfile
from collections.abc import Callable
from datetime import timedelta
from pathlib import Path

from hypothesis import Phase, settings
from hypothesis import strategies as st
from hypothesis.stateful import (
    RuleBasedStateMachine,
    initialize,
    invariant,
    precondition,
    rule,
    run_state_machine_as_test,
)
from sqlalchemy import select
from sqlalchemy.orm import Session

from server.clinic.contradiction import Contradiction
from server.clinic.entered_in_error import bring_back_operation, take_back_operation
from server.clinic.entries import EntryRefused, ShoulderEntry
from server.clinic.events import record_event
from server.clinic.leaving import patient_died
from server.clinic.log import log_operation
from server.clinic.merge import merge
from server.clinic.merge_plan import plan_merge
from server.clinic.merge_since import COLUMNS, WHOSE
from server.clinic.merge_undo import undo_merge
from server.clinic.operation_entry import ComponentsEntry, correct_operation
from server.clinic.recorded import take_back
from server.clinic.side import OTHER, correct_side, what_moves
from server.clinic.withdrawal import Wish, undo_end, withdraw
from server.fields.field import Value
from server.models import ClinicEvent, Patient, PatientMerge
from tests.clinic.record_model import Merge, Op, Person, merged
from tests.clinic.record_truth import (
    broken_chains,
    facts,
    last_change,
    not_stated,
    sent_too_near,
    without_history,
)
from tests.clinic.record_world import WHY, World, new_world
from tests.operated import done_on

SIDES = st.sampled_from(["left", "right"])
PAST = st.integers(0, 800)
WHICH = st.integers(0, 30)
CORRECTED = st.sampled_from(
    [
        {"surgeon": "Dr Invented"},
        {"surgeon": "Dr Imagined"},
        {"diagnosis": "osteonecrosis"},
        {"diagnosis": "osteoarthritis"},
    ]
)
STEPS = 12
PART = 6  # a run is as long as many examples of another property, so that a sixth of them will do


class AnyOrder(RuleBasedStateMachine):
    """One clinic and its plain model. A rule does one act with the functions of the pages; a refused one must change nothing."""

    url = ""

    def __init__(self) -> None:
        super().__init__()
        self.folder = tempfile.TemporaryDirectory(prefix="yearmark-record-")
        self.world: World = new_world(self.url, Path(self.folder.name))
        self.merges: list[Merge] = []
        self.in_error: list[tuple[Person, Op]] = []

    def teardown(self) -> None:
        try:
            self.world.pass_days(1)
            assert self.world.flow(Path(self.folder.name) / "set") == self.world.model.flow(self.world.today)
        finally:
            self.world.case.store.engine.dispose()
            self.folder.cleanup()

    def person(self, which: int) -> Person:
        records = self.world.model.records()
        return records[which % len(records)]

    def op(self, which: int) -> tuple[Person, Op]:
        found = [(person, op) for person in self.world.model.records() for op in person.ops]
        return found[which % len(found)]

    def do(self, act: Callable[[Session], object]) -> bool:
        """False when it was refused, and then everything is as before; otherwise every change is in the history."""
        store = self.world.case.store
        self.world.case.now += timedelta(seconds=1)  # no two acts are at one moment
        with store.reading() as session:
            before, since = facts(session), last_change(session)
        try:
            with store.writing() as session:
                act(session)
        except (Contradiction, EntryRefused):
            with store.reading() as session:
                assert (facts(session), last_change(session)) == (before, since)
            return False
        with store.reading() as session:
            assert without_history(session, before, since) == []
        return True

    @initialize(side=SIDES, days=PAST, research=st.booleans())
    def first(self, side: str, days: int, research: bool) -> None:
        self.world.enrol(ShoulderEntry(side, surgery_on=self.world.today - timedelta(days=days)), research)

    @precondition(lambda self: len(self.world.model.people) < 4)
    @rule(side=SIDES, days=PAST, research=st.booleans())
    def enrol(self, side: str, days: int, research: bool) -> None:
        self.world.enrol(ShoulderEntry(side, surgery_on=self.world.today - timedelta(days=days)), research)

    @precondition(lambda self: len(self.world.model.people) < 4)
    @rule(side=SIDES, days=st.integers(1, 200))
    def plan(self, side: str, days: int) -> None:
        self.world.enrol(ShoulderEntry(side, surgery_planned_on=self.world.today + timedelta(days=days)), True)

    @rule(which=WHICH, side=SIDES, days=PAST, kind=st.sampled_from(["index", "revision", "conversion", "other"]))
    def operate_again(self, which: int, side: str, days: int, kind: str) -> None:
        person = self.person(which)
        entry = ShoulderEntry(side, kind=kind, surgery_on=self.world.today - timedelta(days=days))
        made: list[Op] = []
        if self.do(lambda session: made.append(self.world.add(session, person, entry))):
            person.ops += made
            person.sides.add(side)

    @rule(which=WHICH, days=st.integers(-200, 200))
    def done_or_moved(self, which: int, days: int) -> None:
        _person, op = self.op(which)
        on = (op.surgery_on or self.world.today) + timedelta(days=days)
        if self.do(
            lambda session: done_on(session, self.world.operation(session, op), on, **self.world.stamp, why=WHY)
        ):
            op.surgery_on = on

    @rule(which=WHICH, changed=CORRECTED)
    def correct(self, which: int, changed: dict[str, str]) -> None:
        _person, op = self.op(which)
        self.do(
            lambda session: correct_operation(
                session, self.world.operation(session, op), changed, ComponentsEntry(), self.world.plan(session), self.world.desk
            )
        )  # fmt: skip

    @rule(which=WHICH)
    def other_side(self, which: int) -> None:
        person, op = self.op(which)
        moved: list[int] = []

        def act(session: Session) -> None:
            operation = self.world.operation(session, op)
            moved.extend(each.id for each in what_moves(operation))
            correct_side(session, operation, {}, self.world.act)

        if self.do(act):
            person.sides.add(OTHER[op.side])
            for each in person.ops:
                if each.id in moved:
                    each.side, each.answers = OTHER[each.side], {}

    @precondition(lambda self: bool(self.world.waiting()))
    @rule(which=WHICH)
    def answer(self, which: int) -> None:
        waiting = self.world.waiting()
        timepoint_id, op_id, code = waiting[which % len(waiting)]
        self.world.answer(timepoint_id)
        self.world.model.op(op_id).answers[code] = self.world.today

    @rule(which=WHICH)
    def ask(self, which: int) -> None:
        self.do(lambda session: self.world.ask(session, self.person(which)))

    @rule(which=WHICH, days=st.integers(0, 30), checked=st.booleans())
    def die(self, which: int, days: int, checked: bool) -> None:
        person, on = self.person(which), self.world.today - timedelta(days=days)
        stamp = {**self.world.stamp, "checked": checked}
        if self.do(lambda session: patient_died(session, session.get_one(Patient, person.id), on, **stamp)):
            person.ends["died"] = on

    @rule(which=WHICH, days=st.integers(0, 30))
    def withdraw(self, which: int, days: int) -> None:
        person, on = self.person(which), self.world.today - timedelta(days=days)
        stamp = self.world.stamp
        if self.do(
            lambda session: withdraw(session, session.get_one(Patient, person.id), on, Wish("contact", WHY), **stamp)
        ):  # fmt: skip
            person.ends["withdrew"] = on

    @rule(which=WHICH, end=st.sampled_from(["died", "withdrew"]))
    def undo_end(self, which: int, end: str) -> None:
        person, stamp = self.person(which), self.world.stamp
        if self.do(lambda session: undo_end(session, session.get_one(Patient, person.id), end, why=WHY, **stamp)):
            del person.ends[end]

    @rule(which=WHICH, other=WHICH)
    def merge(self, which: int, other: int) -> None:
        kept, alias = self.person(which), self.person(other)
        if {op.side for op in kept.ops} & {op.side for op in alias.ops}:
            return  # one shoulder in both is tried where it can be followed by eye: tests/staff/mending

        def act(session: Session) -> None:
            plan = plan_merge(session, session.get_one(Patient, kept.id), session.get_one(Patient, alias.id))
            merge(session, plan, self.world.act, self.world.case.runtime.keys)

        if self.do(act):
            self.merges.append(merged(kept, alias))

    @precondition(lambda self: bool(self.merges))
    @rule(which=WHICH, whose=st.sampled_from(WHOSE))
    def undo_merge(self, which: int, whose: str) -> None:
        done = self.merges[which % len(self.merges)]

        def act(session: Session) -> None:
            of_alias = select(PatientMerge).where(
                PatientMerge.alias_id == done.alias.id, PatientMerge.undone_at.is_(None)
            )
            said = dict.fromkeys(COLUMNS, whose)
            undo_merge(session, session.scalars(of_alias).one(), self.world.act, self.world.case.runtime.keys, said)

        if self.do(act):
            self.merges.remove(done)
            done.undo(whose)

    @rule(which=WHICH)
    def happen(self, which: int) -> None:
        _person, op = self.op(which)
        values: dict[str, Value] = {
            "kind": "pain",
            "happened_on": self.world.today,
            "certainty": "reported",
            "source_kind": "patient",
        }
        self.do(
            lambda session: record_event(
                session, self.world.operation(session, op).shoulder, values, **self.world.stamp
            )
        )

    @rule(which=WHICH)
    def take_event_back(self, which: int) -> None:
        def act(session: Session) -> None:
            events = session.scalars(select(ClinicEvent).order_by(ClinicEvent.id)).all()
            for event in events[which : which + 1]:
                take_back(session, event, why=WHY, now=self.world.case.now, by_id=self.world.by_id)

        self.do(act)

    @precondition(lambda self: not self.merges and sum(len(each.ops) for each in self.world.model.records()) > 1)
    @rule(which=WHICH)
    def enter_in_error(self, which: int) -> None:
        person, op = self.op(which)
        act = self.world.act
        if self.do(lambda session: take_back_operation(session, self.world.operation(session, op), act)):
            person.ops.remove(op)
            self.in_error.append((person, op))

    @precondition(lambda self: bool(self.in_error) and not self.merges)
    @rule(which=WHICH)
    def no_error_after_all(self, which: int) -> None:
        person, op = self.in_error[which % len(self.in_error)]
        act = self.world.act
        if self.do(lambda session: bring_back_operation(session, self.world.operation(session, op), act)):
            self.in_error.remove((person, op))
            person.ops.append(op)

    @rule(days=PAST, side=SIDES)
    def log(self, days: int, side: str) -> None:
        on = self.world.today - timedelta(days=days)
        values: dict[str, Value] = {"surgery_on": on, "side": side, "not_enrolled_reason": "declined"}
        if self.do(lambda session: log_operation(session, values, **self.world.stamp)):
            self.world.model.logged += 1

    @rule(days=st.sampled_from([1, 7, 40, 100, 300]))
    def pass_days(self, days: int) -> None:
        self.world.pass_days(days)

    @invariant()
    def the_record_is_true(self) -> None:
        today = self.world.today
        with self.world.case.store.reading() as session:
            assert broken_chains(session) == []
            assert not_stated(session, self.world.model, today) == []
            assert sent_too_near(session, today) == []


def test_the_record_stays_true_whatever_is_done_in_which_order(database_url: str) -> None:
    machine = type("AnyOrder", (AnyOrder,), {"url": database_url})
    usual = settings()
    few = settings(
        usual, max_examples=max(1, usual.max_examples // PART), stateful_step_count=STEPS, phases=(Phase.generate,)
    )
    run_state_machine_as_test(machine, settings=few)
