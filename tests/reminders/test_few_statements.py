"""A day on which much happens takes hardly more statements than a quiet one: rows are read and written for many patients at once."""

from collections.abc import Iterator
from contextlib import contextmanager
from datetime import date, timedelta

import pytest
from sqlalchemy import event, select

from server.models import Patient
from server.reminders.asked_pass import mark_asked
from server.reminders.extend import extend_timepoints
from server.reminders.status_pass import update_statuses
from tests.reminders.cast import INVITES, OPENS, SURGERY, House, madrid, right

pytestmark = pytest.mark.parametrize("database_url", ["sqlite"], indirect=True, scope="module")


@contextmanager
def counting(house: House) -> Iterator[list[str]]:
    said: list[str] = []

    def note(_connection: object, _cursor: object, statement: str, *_rest: object) -> None:
        said.append(statement)

    event.listen(house.case.store.engine, "before_cursor_execute", note)
    yield said
    event.remove(house.case.store.engine, "before_cursor_execute", note)


def enrol_many(house: House, many: int, surgery_on: date = SURGERY) -> None:
    for number in range(many):
        house.case.enrol(right(surgery_on), first_name=f"Nr{number}", birth_on=date(1950, 1, 1 + number))


def test_of_ten_more_patients_whose_window_opens_only_the_ten_transitions_are_added(house: House) -> None:
    def opened(patients: int, days: int) -> int:
        on = OPENS + timedelta(days=days)
        enrol_many(house, patients, SURGERY + timedelta(days=days))
        with counting(house) as said:
            report = update_statuses(house.case.store, house.link_service(), now=madrid(on), today=on)
        assert (report.turned, report.published) == (patients, patients)
        return len(said)

    assert opened(2, days=0) + 10 == opened(12, days=3)


def test_a_follow_up_of_which_days_change_nothing_is_not_looked_at(house: House) -> None:
    def looked() -> int:
        with counting(house) as said:
            extend_timepoints(house.case.store, house.link_service(), now=madrid(INVITES), today=INVITES)
        return len(said)

    of_nobody = looked()
    enrol_many(house, 3)
    assert looked() == of_nobody > 1


def test_the_sheets_of_ten_more_patients_whose_rows_are_made_are_read_at_once(house: House) -> None:
    later = SURGERY + timedelta(days=300)

    def read_sheets(patients: int) -> int:
        enrol_many(house, patients)
        with counting(house) as said:
            report = extend_timepoints(house.case.store, house.link_service(), now=madrid(later), today=later)
        assert report.extended == patients
        return sum("JOIN gate" in statement for statement in said)

    assert read_sheets(2) == read_sheets(12) == 1


def test_of_whom_it_is_noted_that_they_were_asked_makes_one_statement(house: House) -> None:
    enrol_many(house, 3)
    with house.case.store.reading() as session:
        patients = session.scalars(select(Patient.id)).all()
    house.case.now = madrid(OPENS)
    house.tick(OPENS)
    for patient_id in patients:
        house.case.phone(patient_id).fetch()
    with counting(house) as said:
        assert mark_asked(house.case.store, today=OPENS) == len(patients) >= 3
    assert sum(statement.startswith("UPDATE") for statement in said) == 1
