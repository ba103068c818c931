"""After enrolment the page says when the invitation leaves, as the clock then does it."""

from datetime import timedelta

import pytest
from sqlalchemy import select

from server.clinic.entries import ShoulderEntry
from server.clinic.holidays import add_holiday
from server.jobs.clock import TICK_MINUTES, tick
from server.models import Message
from tests.staff.html_page import read_page
from tests.staff.staff_case import Staff, StaffCase

# What a page says is the same on either database.
pytestmark = pytest.mark.parametrize("database_url", ["sqlite"], indirect=True, scope="module")


def said(nurse: Staff, patient_id: int) -> str:
    return read_page(nurse.get(f"/patients/{patient_id}/enrolled").text).words


def messages(staff: StaffCase) -> list[str]:
    tick(staff.case.runtime)
    with staff.case.store.reading() as session:
        return list(session.scalars(select(Message.step).where(Message.outcome.is_(None))))


def test_what_can_be_answered_now_is_invited_at_the_next_pass(staff: StaffCase, nurse: Staff) -> None:
    assert TICK_MINUTES == 15
    assert "leaves by e-mail within a quarter of an hour" in said(nurse, staff.case.enrol())
    assert messages(staff) == ["invitation"]


def test_beside_an_invitation_that_was_sent_the_tries_of_staff_are_told_apart(staff: StaffCase, nurse: Staff) -> None:
    page = read_page(nurse.get(f"/patients/{staff.case.enrol()}").text).words
    assert "No call, letter or visit was written down yet. Messages that were sent stand in the history." in page


def test_what_comes_later_is_invited_on_its_day(staff: StaffCase, nurse: Staff) -> None:
    operated = ShoulderEntry(side="left", surgery_on=staff.case.today - timedelta(days=3))
    assert "The invitation leaves by e-mail on " in said(nurse, staff.case.enrol(operated))
    assert messages(staff) == []


def test_without_consent_or_address_none_leaves_and_the_page_says_so(staff: StaffCase, nurse: Staff) -> None:
    assert "no consent to contact was entered" in said(nurse, staff.case.enrol(consents=("research",)))
    by_phone = staff.case.enrol(email=None, phone="555 0142", channel_order=("telephone",))
    assert "No invitation goes by itself to this patient" in said(nurse, by_phone)
    assert messages(staff) == []


def test_on_a_holiday_it_leaves_on_the_next_day_that_is_none(staff: StaffCase, nurse: Staff) -> None:
    with staff.case.store.writing() as session:
        values = {"first_on": staff.case.today, "last_on": None, "yearly": False, "name": "a feast"}
        add_holiday(session, values, now=staff.case.now, today=staff.case.today, by_id=None)
    patient_id = staff.case.enrol()
    assert "Today is a holiday of the clinic" in said(nurse, patient_id)
    assert messages(staff) == []
    staff.case.now += timedelta(days=1)
    assert messages(staff) == ["invitation"]
