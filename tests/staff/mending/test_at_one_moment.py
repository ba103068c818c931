"""Two people, or a person and the intake, at one moment on PostgreSQL, each with a connection of its own: nobody waits for ever, nothing
goes to the record that is gone. SQLite has one writer at a time."""

import threading
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from typing import Any

import pytest
from sqlalchemy import select, text
from sqlalchemy.orm import Session

from server.clinic.merge import merge
from server.clinic.merge_plan import plan_merge
from server.clinic.misplaced import Act
from server.intake.process import process_batch
from server.models import Envelope, Patient, PatientMerge, Response
from server.queries.current import lock_records
from tests.staff.mending.mending_case import WHY, patient_of
from tests.staff.mending.test_same_person import left, opens, right
from tests.staff.staff_case import Staff, StaffCase
from tests.stranger import best

pytestmark = pytest.mark.parametrize("database_url", ["postgresql"], indirect=True, scope="module")

LONGEST = 60


class Together:
    """Works that run each in a thread; what one raises is raised when they are joined."""

    def __init__(self, staff: StaffCase, *works: Callable[[], object]) -> None:
        self.staff, self.problems = staff, list[BaseException]()
        self.threads = [threading.Thread(target=self._run, args=(work,)) for work in works]
        for thread in self.threads:
            thread.start()

    def _run(self, work: Callable[[], object]) -> None:
        try:
            work()
        except BaseException as problem:
            self.problems.append(problem)

    def until_each_waits_or_is_done(self) -> None:
        """For a lock of the database that somebody else holds."""
        waiting = text(
            "SELECT count(*) FROM pg_stat_activity WHERE datname = current_database() AND wait_event_type = 'Lock'"
        )
        last = time.monotonic() + LONGEST
        with self.staff.case.store.engine.connect().execution_options(isolation_level="AUTOCOMMIT") as connection:
            while connection.scalar(waiting) < sum(thread.is_alive() for thread in self.threads):
                assert time.monotonic() < last

    def join(self) -> None:
        for thread in self.threads:
            thread.join(LONGEST)
        assert self.problems == []


@contextmanager
def held(staff: StaffCase, *patients: int) -> Iterator[Session]:
    """Somebody else holds these records until the end of the block."""
    with staff.case.store.writing() as session:
        for patient_id in patients:
            session.get_one(Patient, patient_id, with_for_update={"key_share": True})
        yield session


def merging(staff: StaffCase, role: str, kept: int, alias: str, answers: list[Any]) -> Callable[[], object]:
    member = staff.sign_in(role)
    fields = {"other": alias, "sure": "yes", "merge-why": WHY}
    return lambda: answers.append(member.post(f"/patients/{kept}/same-person", fields))


@pytest.mark.parametrize("second", [(2, "Y-0001"), (1, "Y-0002")])
def test_of_two_merges_at_once_one_is_done_and_the_other_is_told_so(staff: StaffCase, second: tuple[int, str]) -> None:
    kept, alias = staff.case.enrol(left(staff)), staff.case.enrol(right(staff), first_name="Ada Maria")
    ids, answers = {1: kept, 2: alias}, list[Any]()
    works = (
        merging(staff, "nurse", kept, "Y-0002", answers),
        merging(staff, "surgeon", ids[second[0]], second[1], answers),
    )
    with held(staff, kept, alias):
        together = Together(staff, *works)
        together.until_each_waits_or_is_done()
    together.join()
    assert sorted(each.status_code for each in answers) == [302, 422]
    [told] = [each.text for each in answers if each.status_code == 422]
    assert "meanwhile" in told or "was merged already" in told
    with staff.case.store.reading() as session:
        assert len(session.scalars(select(PatientMerge.id)).all()) == 1


def test_of_two_undos_at_once_one_is_done_and_the_other_is_told_so(staff: StaffCase, nurse: Staff) -> None:
    kept, alias = staff.case.enrol(left(staff)), staff.case.enrol(right(staff), first_name="Ada Maria")
    answers: list[Any] = []
    merging(staff, "nurse", kept, "Y-0002", answers)()
    with staff.case.store.reading() as session:
        made = session.scalars(select(PatientMerge.id)).one()
    address, fields = f"/patients/{kept}/same-person/{made}/undo", {f"undo-{made}-why": WHY}
    both = [staff.sign_in(role) for role in ("nurse", "surgeon")]
    with held(staff, kept):
        together = Together(
            staff, *(lambda member=member: answers.append(member.post(address, fields)) for member in both)
        )
        together.until_each_waits_or_is_done()
    together.join()
    assert sorted(each.status_code for each in answers[1:]) == [302, 422]
    assert "This was already undone." in next(each.text for each in answers[1:] if each.status_code == 422)
    assert patient_of(staff, alias).merged_into_id is None


def sealed_form(staff: StaffCase, patient_id: int) -> None:
    phone = staff.case.phone(patient_id)
    phone.fetch()
    phone.send(phone.seal(phone.payload(phone.sheet["forms"][0], best, staff.case.now)))


def answer_is_of(staff: StaffCase, patient_id: int) -> bool:
    with staff.case.store.reading() as session:
        response = session.scalars(select(Response)).one()
    return response.patient_id == patient_id and opens(staff, response.id, patient_id)


def test_a_merge_waits_for_the_intake_that_has_read_the_other_record(staff: StaffCase) -> None:
    case, answers = staff.case, list[Any]()
    kept, alias = case.enrol(left(staff)), case.enrol(right(staff), first_name="Ada Maria")
    sealed_form(staff, alias)
    with case.store.writing() as session:
        envelopes = session.scalars(select(Envelope).with_for_update()).all()
        process_batch(session, envelopes, case.runtime.keys, case.runtime.library, now=case.now)
        together = Together(staff, merging(staff, "nurse", kept, "Y-0002", answers))
        together.until_each_waits_or_is_done()
    together.join()
    assert [each.status_code for each in answers] == [302] and answer_is_of(staff, kept)


def test_the_intake_waits_for_the_merge_that_has_begun(staff: StaffCase) -> None:
    case = staff.case
    kept, alias = case.enrol(left(staff)), case.enrol(right(staff), first_name="Ada Maria")
    sealed_form(staff, alias)
    with case.store.writing() as session:
        lock_records(session, [kept, alias])
        plan = plan_merge(session, session.get_one(Patient, kept), session.get_one(Patient, alias))
        merge(session, plan, Act(WHY, case.now, case.today, staff.account_id()), case.runtime.keys)
        session.flush()
        together = Together(staff, case.process)
        together.until_each_waits_or_is_done()
    together.join()
    assert answer_is_of(staff, kept)
