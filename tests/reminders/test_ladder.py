"""The reminder ladder as a patient meets it, day by day."""

from datetime import date, timedelta

import pytest
from sqlalchemy import select

from server.clinic.operations import refresh_follow_ups
from server.models import Consent, Message
from tests.reminders.cast import CLOSES, INVITES, LADDER, OPENS, REMINDS, House, left, operation_of, right

# The days are the clock's; test_tick.py and test_killed.py write the same on both databases.
pytestmark = pytest.mark.parametrize("database_url", ["sqlite"], indirect=True, scope="module")


def test_nothing_is_sent_before_the_day_that_invites(house: House) -> None:
    house.case.enrol(right())
    house.days(OPENS, INVITES - timedelta(days=1))
    assert house.letters() == []
    house.one_day(INVITES)
    assert [letter.to for letter in house.letters()] == ["ada@patient.example"]


def test_reminders_follow_after_7_14_and_21_days_and_then_no_more(house: House) -> None:
    house.case.enrol(right())
    house.days(OPENS, CLOSES + timedelta(days=3))
    assert house.letter_days() == [INVITES, *REMINDS]
    assert house.outcomes() == dict.fromkeys(LADDER, "sent")


def test_the_words_change_with_the_step(house: House) -> None:
    house.case.enrol(right())
    house.days(INVITES, REMINDS[-1])
    subjects = [letter.subject for letter in house.letters()]
    assert [subject.partition(": ")[2] for subject in subjects] == [
        "your shoulder follow-up, about 2 minutes",
        "your shoulder follow-up is still open",
        "your shoulder follow-up is still open",
        "last reminder, your shoulder follow-up",
    ]
    assert len({letter.message_id for letter in house.letters()}) == 4


def test_nobody_who_answered_is_reminded(house: House) -> None:
    house.case.enrol(right())
    house.days(INVITES, REMINDS[0])
    house.answer()
    house.days(REMINDS[0] + timedelta(days=1), CLOSES)
    assert house.letter_days() == [INVITES, REMINDS[0]]


def test_an_answer_between_outbox_and_sending_stops_the_message(house: House) -> None:
    house.case.enrol(right())
    house.tick(INVITES)
    house.answer()
    assert house.send() == 0
    assert house.outcomes() == {"invitation": "already_answered"}


def test_a_window_that_closed_before_sending_stops_the_message(house: House) -> None:
    house.case.enrol(right())
    house.tick(REMINDS[-1])
    house.tick(CLOSES + timedelta(days=1))
    assert house.send() == 0
    assert house.outcomes()["reminder-3"] == "window_closed"


def test_after_downtime_only_the_latest_step_due_is_sent(house: House) -> None:
    house.case.enrol(right())
    house.one_day(REMINDS[1] + timedelta(days=2))
    assert house.outcomes() == {"invitation": "passed_over", "reminder-1": "passed_over", "reminder-2": "sent"}
    assert len(house.letters()) == 1
    house.one_day(REMINDS[2])
    assert house.outcomes()["reminder-3"] == "sent"


def test_a_message_that_waited_through_the_next_step_is_passed_over(house: House) -> None:
    house.case.enrol(right())
    house.tick(INVITES)  # nothing sends for a week
    house.case.now += timedelta(days=7)
    assert house.send() == 0
    assert house.outcomes() == {"invitation": "passed_over"}
    house.one_day(REMINDS[0])
    assert house.outcomes() == {"invitation": "passed_over", "reminder-1": "sent"}


def test_both_shoulders_on_one_day_get_one_message_for_both(house: House) -> None:
    house.case.enrol(left(), right())
    house.days(OPENS, CLOSES)
    assert house.letter_days() == [INVITES, *REMINDS]
    assert all("both your shoulders" in letter.text for letter in house.letters()[:1])
    assert house.outcomes("left") == house.outcomes("right") == dict.fromkeys(LADDER, "sent")
    assert "about 4 minutes" in house.letters()[0].subject


def test_once_one_shoulder_is_answered_the_reminder_names_the_other(house: House) -> None:
    house.case.enrol(left(), right())
    house.one_day(INVITES)
    house.answer("left")
    house.one_day(REMINDS[0])
    assert "about your right shoulder" in house.letters()[-1].text


def test_a_first_and_a_second_message_due_together_read_as_a_first(house: House) -> None:
    house.case.enrol(left(date(2026, 5, 25)), right())  # the left one is invited a week before
    house.one_day(INVITES - timedelta(days=7))
    house.one_day(INVITES)
    assert (house.outcomes("left")["reminder-1"], house.outcomes("right")["invitation"]) == ("sent", "sent")
    assert len(house.letters()) == 2
    assert "follow-up of both your shoulders" in house.letters()[-1].text


@pytest.mark.parametrize(
    ("changes", "outcome"),
    [
        ({"consents": ("research",)}, "no_consent"),
        ({"email": None, "phone": "+34 600 000 000", "channel_order": ("telephone",)}, "no_contact"),
        ({"phone": "+34 600 000 000", "channel_order": ("telephone",)}, "no_contact"),
    ],
)
def test_who_may_not_be_written_to_gets_nothing_and_the_reason_is_kept(
    house: House, changes: dict[str, object], outcome: str
) -> None:
    house.case.enrol(right(), **changes)
    house.days(INVITES, REMINDS[-1])
    assert house.letters() == []
    assert house.outcomes() == dict.fromkeys(LADDER, outcome)
    house.days(REMINDS[-1] + timedelta(days=1), CLOSES)
    assert [status for status, _ in house.history()] == ["open", "overdue"]  # nobody stayed silent who was never asked


@pytest.mark.parametrize("reached", range(len(LADDER)))
def test_one_message_that_was_sent_is_enough_for_a_non_responder(house: House, reached: int) -> None:
    patient_id = house.case.enrol(right(), email=None, phone="+34 600 000 000", channel_order=("telephone",))
    for place, day in enumerate((INVITES, *REMINDS)):
        address = "ada@patient.example" if place == reached else None
        house.change_patient(patient_id, email=address, channel_order="telephone,email")
        house.one_day(day)
    assert [step for step, outcome in house.outcomes().items() if outcome == "sent"] == [LADDER[reached]]
    assert house.history()[-1] == ("non_responder", REMINDS[-1])


def test_consent_withdrawn_between_outbox_and_sending_stops_the_message(house: House) -> None:
    house.case.enrol(right())
    house.tick(INVITES)
    with house.case.store.writing() as session:
        consent = session.scalars(select(Consent).where(Consent.kind == "contact")).one()
        consent.withdrawn_on = INVITES
    house.send()
    assert (house.letters(), house.outcomes()) == ([], {"invitation": "no_consent"})


@pytest.mark.parametrize("end", ["died_on", "withdrew_on", "transferred_on"])
def test_nobody_who_died_withdrew_or_moved_away_is_written_to(house: House, end: str) -> None:
    patient_id = house.case.enrol(right())
    house.tick(INVITES)
    house.change_patient(patient_id, **{end: INVITES})
    house.send()
    house.days(INVITES + timedelta(days=1), REMINDS[-1])
    assert house.letters() == []
    assert set(house.outcomes().values()) == {"ended"}


def test_an_address_that_came_later_is_used_from_the_next_step_on(house: House) -> None:
    patient_id = house.case.enrol(right(), email=None, phone="+34 600 000 000", channel_order=("telephone",))
    house.one_day(INVITES)
    house.change_patient(patient_id, email="ada@patient.example", channel_order="telephone,email")
    house.one_day(REMINDS[0])
    assert house.outcomes() == {"invitation": "no_contact", "reminder-1": "sent"}


def test_a_message_about_a_window_that_moved_away_goes_back_until_it_is_due(house: House) -> None:
    patient_id = house.case.enrol(right())
    house.tick(INVITES)
    with house.case.store.writing() as session:  # surgery was two weeks later than entered
        operation = operation_of(session, patient_id)
        operation.surgery_on = date(2026, 6, 15)
        refresh_follow_ups(session, [operation], now=house.case.now, today=house.case.today, by_id=None)
    assert house.send() == 0
    with house.case.store.reading() as session:
        assert session.scalars(select(Message)).all() == []
    house.days(INVITES + timedelta(days=1), INVITES + timedelta(days=14))
    assert house.letter_days() == [INVITES + timedelta(days=14)]
