"""A try that was written down in error and a message that came back asked nobody, and what followed from them is set anew."""

from datetime import date, datetime, timedelta

import pytest
from sqlalchemy import select

from server.clinic.entries import ShoulderEntry
from server.jobs.clock import one_pass
from server.models import AuditEntry, ContactAttempt, FieldChange, Flag, Message, Patient, Timepoint
from server.queries.last_known import last_known_of
from server.schedule.last_known import Source
from tests.staff.html_page import read_page
from tests.staff.mending.mending_case import WHY, mend, timepoint_of
from tests.staff.sent_form import send
from tests.staff.staff_case import Staff, StaffCase, years_ago

pytestmark = pytest.mark.parametrize("database_url", ["sqlite"], indirect=True, scope="module")


@pytest.fixture
def ada(staff: StaffCase) -> int:
    return staff.case.enrol(ShoulderEntry(side="left", surgery_on=years_ago(staff.case, 1)))


def tried(nurse: Staff, patient_id: int, result: str) -> None:
    page = f"/patients/{patient_id}"
    sent = send(nurse, page, f"{page}/attempts", {"channel": "telephone", "result": result})
    assert sent.status_code == 302


def attempts(staff: StaffCase) -> list[int]:
    with staff.case.store.reading() as session:
        return list(session.scalars(select(ContactAttempt.id).order_by(ContactAttempt.id)))


def take_back(nurse: Staff, patient_id: int, attempt_id: int) -> int:
    page = f"/patients/{patient_id}/contacts"
    return mend(nurse, page, f"{page}/attempts/{attempt_id}").status_code


def asked(staff: StaffCase, patient_id: int) -> Timepoint:
    return timepoint_of(staff, patient_id, "year-1")


def test_a_call_to_the_wrong_patient_is_taken_back_with_all_that_followed(
    staff: StaffCase, nurse: Staff, ada: int
) -> None:
    with staff.case.store.writing() as session:
        wish = Flag(kind="asked_for_call", patient_id=ada, raised_at=staff.case.now, settled_note="rang, engaged")
        session.add(wish)
    tried(nurse, ada, "declined")
    assert (asked(staff, ada).asked_on, asked(staff, ada).last_try) == (staff.case.today, "declined")
    page = f"/patients/{ada}/contacts"
    without = send(nurse, page, f"{page}/attempts/1", {})
    assert without.status_code == 422 and "Write why." in without.text
    assert take_back(nurse, ada, 1) == 302
    row = asked(staff, ada)
    assert (row.asked_on, row.last_try, row.again_on) == (None, None, None)
    with staff.case.store.reading() as session:
        flag = session.scalars(select(Flag)).one()
        assert flag.settled_at is None, "who asked for a call was not called"
        assert flag.settled_note == "rang, engaged"
        assert "flag:reopened" in session.scalars(select(AuditEntry.action)).all()
        contact = last_known_of(session, session.get_one(Patient, ada), staff.case.today).contact
        assert contact is not None and contact.source == Source.CONSENT
        kept = select(FieldChange.why).where(FieldChange.table_name == "contact_attempt")
        assert session.scalars(kept).all() == [WHY]
    assert "entered in error" in nurse.get(page).text and "entered in error" in nurse.get(f"/patients/{ada}").text
    told = read_page(nurse.get(page).text).words
    assert "Entered in error: “" in told and f"{staff.case.now.date()}T" not in told, (
        "a moment is told as people read it"
    )
    again = nurse.post(f"{page}/attempts/1", {"attempt-1-why": "once more"})
    assert again.status_code == 422 and "already taken back" in again.text


def test_a_try_taken_back_by_mistake_is_brought_back_with_all_that_had_followed(
    staff: StaffCase, nurse: Staff, ada: int
) -> None:
    with staff.case.store.writing() as session:
        session.add(Flag(kind="asked_for_call", patient_id=ada, raised_at=staff.case.now))
    tried(nurse, ada, "declined")
    page = f"/patients/{ada}/contacts"
    standing = nurse.post(f"{page}/attempts/1/back", {"attempt-1-why": WHY})
    assert standing.status_code == 422 and "nothing to bring back" in standing.text
    assert take_back(nurse, ada, 1) == 302
    assert mend(nurse, page, f"{page}/attempts/1/back").status_code == 302
    row = asked(staff, ada)
    assert (row.asked_on, row.last_try, row.again_on) == (staff.case.today, "declined", None)
    with staff.case.store.reading() as session:
        assert session.scalars(select(Flag.settled_at)).one() == staff.case.now
        assert "contact:brought_back" in session.scalars(select(AuditEntry.action)).all()
        kept = select(FieldChange.why).where(FieldChange.table_name == "contact_attempt")
        assert session.scalars(kept).all() == [WHY, WHY]
    assert take_back(nurse, ada, 1) == 302, "and can be taken back once more"


def test_what_an_earlier_try_brought_stands_again(staff: StaffCase, nurse: Staff, ada: int) -> None:
    tried(nurse, ada, "left_message")
    tried(nurse, ada, "declined")
    first, second = attempts(staff)
    assert take_back(nurse, ada, second) == 302
    row = asked(staff, ada)
    assert (row.asked_on, row.last_try, row.again_on) == (
        staff.case.today, "left_message", staff.case.today + timedelta(days=2),
    )  # fmt: skip
    assert take_back(nurse, ada, first) == 302
    assert asked(staff, ada).asked_on is None


def written(staff: StaffCase, timepoint_id: int, step: str, at: datetime) -> int:
    with staff.case.store.writing() as session:
        message = Message(
            timepoint_id=timepoint_id,
            step=step,
            channel="email",
            made_at=at,
            outcome="sent",
            done_at=at,
            message_id=step,
        )
        session.add(message)
        session.flush()
        return message.id


def test_a_message_that_came_back_asked_nobody(staff: StaffCase, nurse: Staff, ada: int) -> None:
    timepoint_id = asked(staff, ada).id
    first = written(staff, timepoint_id, "invitation", staff.case.now - timedelta(days=1))
    second = written(staff, timepoint_id, "reminder-1", staff.case.now)
    with staff.case.store.writing() as session:
        row = session.get_one(Timepoint, timepoint_id)
        row.asked_on = staff.case.today - timedelta(days=1)
        row.ladder_exhausted_on = staff.case.today
    page = f"/patients/{ada}/contacts"
    assert mend(nurse, page, f"{page}/messages/{first}").status_code == 302
    assert (asked(staff, ada).asked_on, asked(staff, ada).ladder_exhausted_on) == (staff.case.today,) * 2, (
        "the reminder came"
    )
    assert mend(nurse, page, f"{page}/messages/{second}").status_code == 302
    assert (asked(staff, ada).asked_on, asked(staff, ada).ladder_exhausted_on) == (None, None)
    assert "came back undelivered" in nurse.get(page).text
    assert nurse.post(f"{page}/messages/{second}", {f"message-{second}-why": "again"}).status_code == 422


def test_a_message_that_came_back_is_sent_again_with_a_reason_to_the_corrected_address(
    staff: StaffCase, nurse: Staff, ada: int
) -> None:
    message_id = written(staff, asked(staff, ada).id, "invitation", staff.case.now)
    page = f"/patients/{ada}/contacts"
    again = f"{page}/messages/{message_id}/again"
    early = nurse.post(again, {f"message-{message_id}-why": WHY})
    assert early.status_code == 422 and "Only a message that came back" in early.text
    assert mend(nurse, page, f"{page}/messages/{message_id}").status_code == 302
    with staff.case.store.writing() as session:
        session.get_one(Patient, ada).email = "ada.ardent@corrected.example"
    without = nurse.post(again, {})
    assert without.status_code == 422 and "Write why." in without.text
    assert mend(nurse, page, again).status_code == 302
    with staff.case.store.reading() as session:
        row = session.get_one(Message, message_id)
        assert (row.outcome, row.done_at, row.message_id, row.tries) == (None, None, None, 0)
        kept = select(FieldChange.old, FieldChange.new, FieldChange.why).where(FieldChange.table_name == "message")
        assert [tuple(each) for each in session.execute(kept)][-1] == ("returned", "resent", WHY)
    twice = nurse.post(again, {f"message-{message_id}-why": WHY})
    assert twice.status_code == 422
    one_pass(staff.case.runtime)
    with staff.case.store.reading() as session:
        row = session.get_one(Message, message_id)
        assert row.outcome == "sent" and row.message_id
    assert asked(staff, ada).asked_on == staff.case.today


def test_a_message_sent_again_keeps_its_first_sending_in_view_whatever_becomes_of_it(
    staff: StaffCase, nurse: Staff, ada: int
) -> None:
    sent_at = staff.case.now - timedelta(days=3)
    message_id = written(staff, asked(staff, ada).id, "invitation", sent_at)
    page = f"/patients/{ada}/contacts"
    told = nurse.get(page).text.partition(f'id="message-{message_id}"><time>')[2].partition("</time>")[0]
    assert str(sent_at.year) in told
    for act in ("", "/again"):
        assert mend(nurse, page, f"{page}/messages/{message_id}{act}").status_code == 302
    waiting = read_page(nurse.get(page).text).words
    assert "waits to be sent" in waiting and f"Sent: “{told}” became nothing" in waiting and WHY in waiting
    with staff.case.store.writing() as session:
        session.get_one(Patient, ada).email = None
    one_pass(staff.case.runtime)
    with staff.case.store.reading() as session:
        assert session.get_one(Message, message_id).outcome == "no_contact"
    unsent = read_page(nurse.get(page).text).words
    assert "not sent" in unsent and f"Sent: “{told}” became nothing" in unsent and WHY in unsent


def test_a_try_about_several_forms_brings_each_back_on_its_own_day(staff: StaffCase, nurse: Staff) -> None:
    before = ShoulderEntry(side="right", surgery_planned_on=staff.case.today + timedelta(days=4))
    bela = staff.case.enrol(ShoulderEntry(side="left", surgery_on=years_ago(staff.case, 1)), before)
    tried(nurse, bela, "reached")

    def days() -> dict[str, date | None]:
        with staff.case.store.reading() as session:
            rows = session.scalars(select(Timepoint).where(Timepoint.last_try == "reached")).all()
            return {row.code: row.again_on for row in rows}

    own = {"year-1": staff.case.today + timedelta(days=7), "baseline": staff.case.today + timedelta(days=3)}
    assert days() == own
    (first,) = attempts(staff)
    page = f"/patients/{bela}/contacts"
    assert take_back(nurse, bela, first) == 302 and days() == {}
    assert mend(nurse, page, f"{page}/attempts/{first}/back").status_code == 302
    assert days() == own
    tried(nurse, bela, "no_answer")
    assert days() == {} and take_back(nurse, bela, attempts(staff)[-1]) == 302
    assert days() == own, "the earlier try stands again"


def test_a_try_that_reached_nobody_takes_no_day_of_asking_away_when_it_is_brought_back(
    staff: StaffCase, nurse: Staff, ada: int
) -> None:
    tried(nurse, ada, "no_answer")
    assert take_back(nurse, ada, 1) == 302
    fetched_on = staff.case.today + timedelta(days=1)
    with staff.case.store.writing() as session:
        session.get_one(Timepoint, asked(staff, ada).id).asked_on = fetched_on
    page = f"/patients/{ada}/contacts"
    assert mend(nurse, page, f"{page}/attempts/1/back").status_code == 302
    assert asked(staff, ada).asked_on == fetched_on
