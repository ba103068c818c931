"""Staff send the next message now: the ladder's next step, once, and never again by the ladder."""

from datetime import date, timedelta

import pytest
from sqlalchemy import select
from sqlalchemy.orm import Session

from server.jobs.clock import channels_of
from server.models import AuditEntry, Consent, Flag, Message, Patient, StaffAccount
from server.reminders.by_hand import REFUSALS, NotSent, next_message, preview, send_now
from server.reminders.channels.contract import TransportProblem
from tests.reminders.cast import CLOSES, INVITES, LADDER, OPENS, REMINDS, House, Recorder, find, right

# The days are the clock's; test_tick.py writes the same on both databases.
pytestmark = pytest.mark.parametrize("database_url", ["sqlite"], indirect=True, scope="module")

DAY = timedelta(days=1)


def staff_id(session: Session, house: House) -> int:
    found = session.scalars(select(StaffAccount.id)).first()
    if found is not None:
        return found
    nurse = StaffAccount(email="n@c.example", name="Nell", role="nurse", password_hash="-", made_at=house.case.now)
    session.add(nurse)
    session.flush()
    return nurse.id


def by_hand(house: House, step: str) -> None:
    with house.case.store.writing() as session:
        by_id, library = staff_id(session, house), house.case.runtime.library
        timepoint = find(session, "week-6")
        send_now(session, library, timepoint, step, now=house.case.now, today=house.case.today, by_id=by_id)


def would_go(house: House) -> str:
    """The step that would go, or why none does."""
    with house.case.store.reading() as session:
        try:
            return next_message(
                session, house.case.runtime.library, find(session, "week-6"), today=house.case.today
            ).step.step
        except NotSent as problem:
            return problem.reason


def invited(house: House) -> int:
    patient_id = house.case.enrol(right())
    house.one_day(INVITES)
    return patient_id


def test_a_message_by_hand_goes_at_once_and_the_ladder_sends_that_step_no_more(house: House) -> None:
    invited(house)
    house.tick(INVITES + 3 * DAY)
    assert would_go(house) == LADDER[1]
    by_hand(house, LADDER[1])
    house.send()
    house.days(INVITES + 4 * DAY, REMINDS[2])
    assert house.letter_days() == [INVITES, INVITES + 3 * DAY, REMINDS[1], REMINDS[2]]
    assert house.outcomes() == dict.fromkeys(LADDER, "sent")


def test_sent_twice_is_sent_once(house: House) -> None:
    invited(house)
    house.tick(INVITES + 3 * DAY)
    by_hand(house, LADDER[1])
    assert would_go(house) == "waiting"
    by_hand(house, LADDER[1])
    house.send()
    by_hand(house, LADDER[1])
    house.send()
    assert len(house.letters()) == 2 and would_go(house) == LADDER[2]
    with house.case.store.reading() as session:
        audited = session.scalars(select(AuditEntry).where(AuditEntry.action == "message:by_hand")).all()
        assert [entry.by_id for entry in audited] == [session.scalars(select(StaffAccount.id)).one()]


def test_a_step_that_is_no_longer_the_next_one_is_refused(house: House) -> None:
    invited(house)
    with pytest.raises(NotSent, match="changed"):
        by_hand(house, LADDER[3])
    assert list(house.outcomes()) == [LADDER[0]]


def test_of_several_steps_that_are_due_the_latest_goes_and_the_others_are_passed_over(house: House) -> None:
    house.case.enrol(right())
    house.case.now = house.case.now.replace(month=7, day=REMINDS[1].day)
    by_hand(house, LADDER[2])
    house.send()
    assert house.outcomes() == {LADDER[0]: "passed_over", LADDER[1]: "passed_over", LADDER[2]: "sent"}


def test_what_is_shown_first_is_what_goes_word_for_word(house: House) -> None:
    invited(house)
    house.tick(INVITES + 3 * DAY)
    with house.case.store.reading() as session:
        timepoint, today = find(session, "week-6"), house.case.today
        found = next_message(session, house.case.runtime.library, timepoint, today=today)
        url = house.letters()[0].text.split("date of birth:")[1].split()[0]
        notice = preview(session, timepoint, found, url, now=house.case.now, today=today)
    shown = channels_of(house.case.runtime)["email"].preview(notice)
    by_hand(house, LADDER[1])
    house.send()
    sent = house.letters()[-1]
    assert (shown.to, shown.subject, shown.text) == (sent.to, sent.subject, sent.text)
    assert "We have not yet had your answers" in sent.text


def test_a_message_by_hand_that_cannot_go_brings_the_row_back(house: House) -> None:
    invited(house)
    house.tick(INVITES + 3 * DAY)
    by_hand(house, LADDER[1])

    def rests() -> date | None:
        with house.case.store.reading() as session:
            return find(session, "week-6").again_on

    assert rests() == INVITES + 6 * DAY
    assert house.send_one(Recorder(TransportProblem("the address was refused (550)", permanent=True)))
    assert rests() is None and house.outcomes()[LADDER[1]] == "channel_failed"


def test_a_message_that_waits_for_the_mail_server_is_not_made_a_second_time(house: House) -> None:
    invited(house)
    house.tick(INVITES + 3 * DAY)
    by_hand(house, LADDER[1])
    house.send_one(Recorder(TransportProblem("the mail server cannot be reached", permanent=False)))
    assert would_go(house) == "put_off"


def test_an_address_that_came_later_lets_the_last_step_go_once_more(house: House) -> None:
    patient_id = house.case.enrol(right())
    house.change_patient(patient_id, email=None)
    house.days(INVITES, REMINDS[2])
    assert house.outcomes() == dict.fromkeys(LADDER, "no_contact") and would_go(house) == "no_contact"
    house.change_patient(patient_id, email="ada@patient.example")
    assert would_go(house) == LADDER[3]
    by_hand(house, LADDER[3])
    house.send()
    assert house.letter_days() == [REMINDS[2]] and house.outcomes()[LADDER[3]] == "sent"
    assert would_go(house) == "all_sent"


def test_what_speaks_against_it_is_said(house: House) -> None:
    patient_id = invited(house)
    house.tick(INVITES + 3 * DAY)
    assert would_go(house) == LADDER[1]
    with house.case.store.writing() as session:
        session.add(Flag(kind="said_died", patient_id=patient_id, raised_at=house.case.now))
    assert would_go(house) == "said_died"
    with house.case.store.writing() as session:
        session.scalars(select(Flag)).one().settled_at = house.case.now
        find(session, "week-6").last_try = "declined"
    assert would_go(house) == "declined"
    with house.case.store.writing() as session:
        find(session, "week-6").last_try = None
        session.get_one(Patient, patient_id).channel_order = "letter,telephone"
    assert would_go(house) == "other_way"
    with house.case.store.writing() as session:
        session.scalars(select(Consent).where(Consent.kind == "contact")).one().withdrawn_on = INVITES
    assert would_go(house) == "no_consent"
    house.answer()
    assert would_go(house) == "already_answered"


def test_before_and_after_the_window_nothing_goes(house: House) -> None:
    house.case.enrol(right())
    house.case.now += OPENS - DAY - house.case.today
    assert would_go(house) == "not_open"
    house.case.now += 2 * DAY
    assert would_go(house) == LADDER[0]  # open, and the invitation may go before its day
    house.tick(CLOSES + DAY)
    assert would_go(house) == "window_closed"


def test_every_reason_of_the_outbox_can_be_said(house: House) -> None:
    words = {row.text for row in REFUSALS.values()}
    assert {"ended", "no_consent", "no_contact", "already_answered", "window_closed"} <= set(REFUSALS) and len(
        words
    ) == len(REFUSALS)


def test_a_message_tried_once_more_is_the_same_message_so_that_its_history_stays_with_it(house: House) -> None:
    patient_id = house.case.enrol(right())
    house.change_patient(patient_id, email=None)
    house.days(INVITES, REMINDS[2])
    last = select(Message.id).where(Message.step == LADDER[3])
    with house.case.store.writing() as session:
        before = session.scalars(last).one()
        # Of a later row, so that the number of a row that were deleted is not given out again.
        put = {"timepoint_id": find(session, "week-6").id, "channel": "letter", "made_at": house.case.now}
        session.add(Message(**put, step="by-post", outcome="passed_over", done_at=house.case.now))
    house.change_patient(patient_id, email="ada@patient.example")
    by_hand(house, LADDER[3])
    with house.case.store.reading() as session:
        assert session.scalars(last).one() == before
