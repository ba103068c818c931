"""After "this person has died" or "please stop" nothing goes out until a person has settled it; then reminders go on where they were."""

import pytest
from sqlalchemy import select

from server.clinic.contact import settle_flag
from server.models import Flag, Message
from server.queries.pause import pause_of
from tests.reminders.cast import INVITES, REMINDS, House, counts, madrid, right
from tests.storehouse import add_account

pytestmark = pytest.mark.parametrize("database_url", ["sqlite"], indirect=True, scope="module")


def say(house: House, patient_id: int, kind: str) -> None:
    """By the patient's phone."""
    phone = house.case.phone(patient_id)
    phone.fetch()
    phone.send(phone.seal(phone.notice(kind, house.case.now)))
    assert house.case.process().recorded == 1


@pytest.mark.parametrize(("kind", "flag"), [("died", "said_died"), ("stop", "asked_to_stop")])
def test_nothing_goes_out_and_nothing_is_let_go_while_it_stands(house: House, kind: str, flag: str) -> None:
    patient_id = house.case.enrol(right())
    house.one_day(INVITES)
    say(house, patient_id, kind)
    house.days(INVITES, REMINDS[1])
    assert house.letter_days() == [INVITES]
    assert house.outcomes() == {"invitation": "sent"}
    with house.case.store.reading() as session:
        assert pause_of(session, patient_id) == flag


def test_a_message_that_waits_already_is_taken_back(house: House) -> None:
    patient_id = house.case.enrol(right())
    assert counts(house.tick(INVITES))["made"] == 1
    say(house, patient_id, "died")
    assert house.send() == 0
    with house.case.store.reading() as session:
        assert session.scalars(select(Message)).all() == []


def test_once_settled_the_latest_step_goes_out_and_the_earlier_one_is_passed_over(house: House) -> None:
    patient_id = house.case.enrol(right())
    house.one_day(INVITES)
    say(house, patient_id, "stop")
    house.days(INVITES, REMINDS[1])
    with house.case.store.writing() as session:
        settle_flag(
            session, session.scalars(select(Flag)).one(), "a mistake", now=house.case.now, by_id=add_account(session).id
        )
    house.one_day(REMINDS[1])
    assert house.letter_days() == [INVITES, REMINDS[1]]
    assert house.outcomes() == {"invitation": "sent", "reminder-1": "passed_over", "reminder-2": "sent"}
    with house.case.store.reading() as session:
        assert pause_of(session, patient_id) is None


def test_other_notices_and_other_patients_are_reminded_as_ever(house: House) -> None:
    asked, other = house.case.enrol(right()), house.case.enrol(right(), email="other@patient.example")
    house.case.now = madrid(INVITES)
    say(house, asked, "call_me")
    house.one_day(INVITES)
    assert len(house.letters()) == 2
    say(house, asked, "died")
    with house.case.store.reading() as session:
        assert (pause_of(session, asked), pause_of(session, other)) == ("said_died", None)
    house.one_day(REMINDS[0])
    assert len(house.letters()) == 3
