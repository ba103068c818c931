"""The ladder respects what a call brought: it rests after a promise, and ends after a refusal."""

from datetime import timedelta

import pytest
from sqlalchemy import delete, select

from server.clinic.contact import record_attempt
from server.models import Flag, Message, Patient, StaffAccount, Timepoint
from server.timepoints.asked import note_asked
from tests.reminders.cast import DUE, INVITES, LADDER, REMINDS, House, right

# The days are the clock's; test_tick.py and test_killed.py write the same on both databases.
pytestmark = pytest.mark.parametrize("database_url", ["sqlite"], indirect=True, scope="module")

DAY = timedelta(days=1)


def called(house: House, result: str, *, second: bool = False) -> None:
    """The nurse spoke to Ada, or to her second contact, today about all that is open."""
    with house.case.store.writing() as session:
        nurse = session.scalars(select(StaffAccount)).first()
        if nurse is None:
            nurse = StaffAccount(
                email="n@c.example", name="Nell", role="nurse", password_hash="-", made_at=house.case.now
            )
            session.add(nurse)
            session.flush()
        patient = session.scalars(select(Patient)).one()
        call = {"channel": "telephone", "result": result, "note": None, "again_on": None, "to_second_contact": second}
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


@pytest.mark.parametrize("second", [True, False], ids=["the second contact", "the patient"])
def test_a_talk_with_the_second_contact_asks_nobody_and_settles_no_wish_for_a_call(house: House, second: bool) -> None:
    patient_id = house.case.enrol(right())
    house.one_day(INVITES)
    with house.case.store.writing() as session:
        for each in session.scalars(select(Timepoint)):
            each.asked_on = None
        session.execute(delete(Message))
    with house.case.store.writing() as session:
        session.add(Flag(kind="asked_for_call", patient_id=patient_id, raised_at=house.case.now))
    called(house, "reached", second=second)
    with house.case.store.writing() as session:
        row = session.scalars(select(Timepoint).where(Timepoint.last_try == "reached")).one()
        at_once, row.asked_on = row.asked_on, None
        session.flush()
        note_asked(session, [row])
        assert (at_once is None, row.asked_on is None) == (second, second)
        assert (session.scalars(select(Flag.settled_at)).one() is None) == second
