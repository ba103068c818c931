"""The ladder respects what a call brought: it rests after a promise, and ends after a refusal."""

from datetime import timedelta

import pytest
from sqlalchemy import select

from server.clinic.contact import record_attempt
from server.models import Patient, StaffAccount
from tests.reminders.cast import DUE, INVITES, LADDER, REMINDS, House, right

# The days are the clock's; test_tick.py and test_killed.py write the same on both databases.
pytestmark = pytest.mark.parametrize("database_url", ["sqlite"], indirect=True, scope="module")

DAY = timedelta(days=1)


def called(house: House, result: str) -> None:
    """The nurse spoke to Ada today about all that is open."""
    with house.case.store.writing() as session:
        nurse = session.scalars(select(StaffAccount)).first()
        if nurse is None:
            nurse = StaffAccount(
                email="n@c.example", name="Nell", role="nurse", password_hash="-", made_at=house.case.now
            )
            session.add(nurse)
            session.flush()
        patient = session.scalars(select(Patient)).one()
        call = {"channel": "telephone", "result": result, "note": None, "again_on": None}
        record_attempt(session, patient, call, now=house.case.now, by_id=nurse.id)


def test_reminders_rest_after_a_promise_and_go_on_from_its_day(house: House) -> None:
    house.case.enrol(right())
    house.one_day(INVITES)
    house.tick(REMINDS[0] - DAY)
    called(house, "promised")
    house.days(REMINDS[0], REMINDS[0] + 3 * DAY)
    assert house.letter_days() == [INVITES, REMINDS[0] + 2 * DAY]


def test_after_a_refusal_no_reminder_goes_not_even_one_that_waits(house: House) -> None:
    house.case.enrol(right())
    house.one_day(INVITES)
    house.tick(DUE)  # the first reminder is in the outbox
    called(house, "declined")
    house.send()
    house.days(DUE + DAY, REMINDS[2])
    assert house.letter_days() == [INVITES]
    assert list(house.outcomes()) == ["invitation"]


def test_another_call_after_a_refusal_lets_the_ladder_go_on(house: House) -> None:
    house.case.enrol(right())
    house.one_day(INVITES)
    called(house, "declined")
    house.days(REMINDS[0], REMINDS[1])
    called(house, "reached")
    house.one_day(REMINDS[1] + DAY)
    assert house.outcomes() == {LADDER[0]: "sent", LADDER[1]: "passed_over", LADDER[2]: "sent"}


def test_a_call_that_reached_nobody_changes_nothing_for_the_ladder(house: House) -> None:
    house.case.enrol(right())
    house.one_day(INVITES)
    house.tick(REMINDS[0] - DAY)
    called(house, "no_answer")
    house.days(REMINDS[0], REMINDS[2])
    assert house.letter_days() == [INVITES, *REMINDS]
