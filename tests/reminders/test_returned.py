"""A message that came back undelivered stays on record, and what comes after it goes on."""

from datetime import timedelta

import pytest
from sqlalchemy import select

from server.clinic.contact_mended import message_returned
from server.models import FollowUp, Message, Patient
from server.reminders.by_hand import NotSent, next_message
from server.timepoints.generate import refresh_timepoints
from server.timepoints.plans import read_plans
from tests.reminders.cast import INVITES, LADDER, REMINDS, SURGERY, House, find, operation_of, right

pytestmark = pytest.mark.parametrize("database_url", ["sqlite"], indirect=True, scope="module")

DAY = timedelta(days=1)


def returned(house: House, patient_id: int, step: str) -> None:
    with house.case.store.writing() as session:
        row = session.scalars(select(Message).where(Message.step == step)).one()
        patient = session.get_one(Patient, patient_id)
        moment = {"now": house.case.now, "today": house.case.today, "by_id": None}
        message_returned(session, row, patient, why="no such mailbox", **moment)  # type: ignore[arg-type]


def test_a_corrected_day_of_surgery_leaves_a_returned_message_on_record(house: House) -> None:
    patient_id = house.case.enrol(right())
    house.one_day(INVITES)
    returned(house, patient_id, LADDER[0])
    with house.case.store.writing() as session:
        operation_of(session, patient_id).surgery_on = SURGERY + 2 * DAY
        follow_up = session.scalars(select(FollowUp)).one()
        plan = read_plans(session).of(follow_up)
        refresh_timepoints(session, follow_up, plan, now=house.case.now, today=house.case.today)
        assert find(session, "week-6").invites_on == INVITES + 2 * DAY
    assert house.outcomes() == {LADDER[0]: "returned"}


def test_the_steps_to_come_go_on_and_of_the_last_one_that_came_back_the_page_says_so(house: House) -> None:
    patient_id = house.case.enrol(right())
    house.days(INVITES, REMINDS[1])
    returned(house, patient_id, LADDER[2])
    house.days(REMINDS[1] + DAY, REMINDS[2])
    assert house.outcomes()[LADDER[3]] == "sent"
    returned(house, patient_id, LADDER[3])
    with house.case.store.reading() as session, pytest.raises(NotSent, match="came_back") as refused:
        next_message(session, house.case.runtime.library, find(session, "week-6"), today=house.case.today)
    assert "came back undelivered" in refused.value.said.text
    assert house.outcomes() == {
        LADDER[0]: "sent",
        LADDER[1]: "sent",
        LADDER[2]: "returned",
        LADDER[3]: "returned",
    }
