"""A small clinic in which anything is done in any order by the functions that the pages use. Everybody here is invented."""

import csv
from collections import Counter
from dataclasses import dataclass, field
from datetime import UTC, date, datetime, time, timedelta
from pathlib import Path
from typing import Any

from sqlalchemy import select
from sqlalchemy.orm import Session

from server.clinic.contact import record_attempt
from server.clinic.enrol import add_operation, enrol
from server.clinic.entries import Enrolment, ShoulderEntry
from server.clinic.misplaced import Act
from server.clinic.operation_entry import Desk
from server.exports import export_set
from server.jobs.clock import LINKS
from server.models import FollowUp, Operation, Patient, Timepoint
from server.queries.clock import the_clinic
from server.queries.current import waits_for_answer
from server.reminders.tick import run_tick
from server.schedule.plan import Plan
from server.timepoints.plans import read_plans
from tests.clinic.record_model import DAYS, LAST_YEAR, Flow, Model, Op, Person
from tests.clinic_case import NOW, Case, make_case
from tests.staff.staff_case import StaffCase
from tests.storehouse import add_account

WHY = "the report says so"
NAMES = ("Ada", "Berta", "Cora", "Dora", "Emma", "Flora", "Gerda", "Hilda")
SAME_STEPS = ("operated", "not_enrolled", "enrolled", "no_research_consent", "in_files")
AT_STEPS = ("not_planned", "upcoming", "not_expected", "analysed")


@dataclass
class World:
    case: Case
    by_id: int
    model: Model = field(default_factory=Model)

    @property
    def today(self) -> date:
        return self.case.today

    @property
    def stamp(self) -> dict[str, Any]:
        return {"now": self.case.now, "today": self.today, "by_id": self.by_id}

    @property
    def act(self) -> Act:
        return Act(WHY, **self.stamp)

    @property
    def desk(self) -> Desk:
        return Desk(**self.stamp, checked=True, why=WHY)

    def plan(self, session: Session) -> Plan:
        return read_plans(session).named(the_clinic(session).default_plan)

    def enrol(self, entry: ShoulderEntry, research: bool) -> None:
        number = len(self.model.people)
        enrolment = Enrolment(
            first_name=NAMES[number % len(NAMES)], last_name=f"Number {number}", birth_on=date(1950, 1, 1 + number % 28),
            sex="female", email=f"p{number}@patient.example", shoulders=(entry,),
            consents=("contact", "research") if research else ("contact",),
        )  # fmt: skip
        with self.case.store.writing() as session:
            patient = enrol(
                session, enrolment, plan=self.plan(session), clinic=the_clinic(session),
                new_patient_key=self.case.runtime.keys.new_patient_key, **self.stamp,
            )  # fmt: skip
            [shoulder] = patient.shoulders
            [operation] = shoulder.operations
            made = Op(operation.id, entry.side, operation.kind, operation.surgery_on)
            self.model.people[patient.id] = Person(patient.id, research, [made], {entry.side})

    def add(self, session: Session, person: Person, entry: ShoulderEntry) -> Op:
        patient = session.get_one(Patient, person.id)
        operation = add_operation(session, patient, entry, plan=self.plan(session), **self.stamp)
        return Op(operation.id, entry.side, operation.kind, operation.surgery_on)

    def waiting(self) -> list[tuple[int, int, str]]:
        """Timepoint, operation and code of every form that waits for an answer today."""
        found = select(Timepoint.id, FollowUp.operation_id, Timepoint.code).join(FollowUp)
        found = found.join(Patient, Patient.id == Timepoint.patient_id).where(Patient.merged_into_id.is_(None))
        with self.case.store.reading() as session:
            rows = session.execute(found.where(waits_for_answer(self.today)).order_by(Timepoint.id))
            return [(row.id, row.operation_id, row.code) for row in rows]

    def answer(self, timepoint_id: int) -> None:
        StaffCase(self.case, self.case.app).answer(timepoint_id, {"pain@1/1": 2}, on=self.today)

    def ask(self, session: Session, person: Person) -> None:
        """Somebody speaks to the patient about all that is open."""
        tried = {"channel": "telephone", "result": "promised"}
        record_attempt(session, session.get_one(Patient, person.id), tried, now=self.case.now, by_id=self.by_id)

    def pass_days(self, days: int) -> None:
        on = self.today + timedelta(days=days)
        self.case.now = datetime.combine(on, time(9, 0), tzinfo=UTC)
        runtime = self.case.runtime
        report = run_tick(runtime.store, runtime.library, LINKS, now=self.case.now)
        assert report.failed == 0

    def operation(self, session: Session, op: Op) -> Operation:
        return session.get_one(Operation, op.id)

    def flow(self, folder: Path) -> Flow:
        """What flow.csv counts; waits and silences together as `other`."""
        runtime, found = self.case.runtime, Counter[tuple[str, str]]()
        export_set(runtime.store, runtime.keys.patient_cipher, runtime.library, folder, now=self.case.now)
        codes = {*DAYS, *(f"year-{year}" for year in range(3, LAST_YEAR + 1))}
        with (folder / "flow.csv").open(encoding="utf-8", newline="") as written:
            for row in csv.DictReader(written, strict=True):
                known = SAME_STEPS if not row["timepoint"] else AT_STEPS
                step = row["step"] if row["step"] in known else "other"
                if not row["timepoint"] or row["timepoint"] in codes:
                    found[row["timepoint"], step] += int(row["operations"])
        return found


def new_world(url: str, folder: Path) -> World:
    case = make_case(url or f"sqlite:///{folder / 'clinic.sqlite'}", folder, NOW)
    with case.store.writing() as session:
        by_id = add_account(session).id
    return World(case, by_id)
