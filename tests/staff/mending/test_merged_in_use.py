"""While two records are one, and after that is undone: whose answers, flags, links and wishes are whose."""

from datetime import timedelta
from typing import Any

import pytest
from sqlalchemy import select

from server.clinic.contact import record_attempt
from server.jobs.clock import LINKS
from server.models import Consent, Flag, Message, Patient, PatientMerge, Response, Timepoint
from server.queries.pause import is_paused, pause_of
from server.reminders.asked_pass import mark_asked
from server.reminders.tick import run_tick
from tests.staff.mending.mending_case import mend, patient_of, response_of, status, timepoint_of
from tests.staff.mending.test_same_person import left, make_one, opens, right, undo
from tests.staff.staff_case import Staff, StaffCase
from tests.stranger import Stranger, best

pytestmark = pytest.mark.parametrize("database_url", ["sqlite"], indirect=True, scope="module")


def send(staff: StaffCase, phone: Stranger) -> int:
    """Answers the one form that is due, and gives the response's id."""
    phone.fetch()
    [form] = phone.sheet["forms"]
    phone.send(phone.seal(phone.payload(form, best, staff.case.now)))
    assert staff.case.process().recorded == 1
    with staff.case.store.reading() as session:
        return session.scalars(select(Response.id).order_by(Response.id.desc())).first() or 0


def tick(staff: StaffCase) -> None:
    run_tick(staff.case.store, staff.case.runtime.library, LINKS, now=staff.case.now)


def test_answers_and_flags_of_a_form_made_since_the_merge_go_back_with_it(staff: StaffCase, nurse: Staff) -> None:
    case = staff.case
    kept, alias = case.enrol(left(staff, 3)), case.enrol(right(staff), first_name="Ada Maria")
    make_one(nurse, kept, "Y-0002")
    case.now += timedelta(days=365)
    tick(staff)
    with case.store.reading() as session:
        made = select(Timepoint).where(Timepoint.patient_id == kept, Timepoint.code == "year-2")
        [form] = [row.id for row in session.scalars(made) if row.follow_up.operation.shoulder.side == "right"]
    response_id = staff.answer(form, {"since@2/8": 1}, on=case.today)
    staff.signed_in.clear()  # a year later
    assert undo(staff, staff.sign_in("nurse"), kept).status_code == 302
    assert response_of(staff, response_id).patient_id == alias and opens(staff, response_id, alias)
    with case.store.reading() as session:
        flags = session.scalars(select(Flag.patient_id).where(Flag.response_id == response_id)).all()
        assert flags and set(flags) == {alias}


def test_what_came_by_the_link_of_the_other_record_goes_back_to_its_own_form(staff: StaffCase, nurse: Staff) -> None:
    case = staff.case
    kept, alias = case.enrol(left(staff)), case.enrol(left(staff), first_name="Ada Maria")
    theirs, own = timepoint_of(staff, alias, "year-1").id, timepoint_of(staff, kept, "year-1").id
    phone = case.phone(alias)
    make_one(nurse, kept, "Y-0002")
    by_alias = send(staff, phone)
    by_hand = staff.answer(own, {}, on=case.today)
    assert (response_of(staff, by_alias).timepoint_id, response_of(staff, by_hand).counted) == (own, False)
    assert undo(staff, nurse, kept).status_code == 302
    back, left_there = response_of(staff, by_alias), response_of(staff, by_hand)
    assert (back.patient_id, back.timepoint_id, back.counted) == (alias, theirs, True) and opens(staff, by_alias, alias)
    assert (left_there.patient_id, left_there.timepoint_id, left_there.counted) == (kept, own, True)
    assert {status(staff, each) for each in (theirs, own)} <= {"answered", "late"}


def test_a_wish_to_be_left_alone_that_is_held_at_the_other_record_pauses_the_kept_one(
    staff: StaffCase, nurse: Staff
) -> None:
    case = staff.case
    kept, alias = case.enrol(left(staff)), case.enrol(right(staff), first_name="Ada Maria")
    old = case.phone(alias)
    old.fetch()
    nurse.post(f"/patients/{alias}/link")
    old.send(old.seal(old.notice("stop", case.now)))
    case.process()
    make_one(nurse, kept, "Y-0002")
    with case.store.reading() as session:
        paused = session.scalars(select(Patient.id).where(is_paused(Patient.id))).all()
        assert (pause_of(session, kept), kept in paused) == ("asked_to_stop", True)


def test_who_declined_in_the_other_record_is_not_reminded_by_the_kept_one(staff: StaffCase, nurse: Staff) -> None:
    case = staff.case
    kept, alias = case.enrol(left(staff)), case.enrol(left(staff), first_name="Ada Maria")
    with case.store.writing() as session:
        tried = {"channel": "telephone", "result": "declined"}
        record_attempt(session, session.get_one(Patient, alias), tried, now=case.now, by_id=staff.account_id())
    make_one(nurse, kept, "Y-0002")
    tick(staff)
    with case.store.reading() as session:
        assert session.scalars(select(Message.id).where(Message.outcome.is_(None))).all() == []
    assert timepoint_of(staff, kept, "year-1").last_try == "declined"
    undo(staff, nurse, kept)
    assert timepoint_of(staff, kept, "year-1").last_try is None


def test_a_sheet_fetched_by_the_link_of_the_other_record_asks_the_patient(staff: StaffCase, nurse: Staff) -> None:
    case = staff.case
    kept, alias = case.enrol(left(staff)), case.enrol(right(staff), first_name="Ada Maria")
    phone = case.phone(alias)
    phone.fetch()
    mark_asked(case.store, today=case.today)
    assert asked(staff, "left") is None
    case.now += timedelta(minutes=1)
    make_one(nurse, kept, "Y-0002")
    phone.fetch()
    mark_asked(case.store, today=case.today)
    assert asked(staff, "left") == case.today


def asked(staff: StaffCase, side: str) -> Any:
    with staff.case.store.reading() as session:
        rows = session.scalars(select(Timepoint).where(Timepoint.code == "year-1")).all()
        return next(row.asked_on for row in rows if row.follow_up.operation.shoulder.side == side)


def test_a_lost_link_is_replaced_whichever_record_it_was_made_for(staff: StaffCase, nurse: Staff) -> None:
    case = staff.case
    kept, alias = case.enrol(left(staff)), case.enrol(right(staff), first_name="Ada Maria")
    phone = case.phone(alias)
    phone.fetch()
    make_one(nurse, kept, "Y-0002")
    assert phone.fetch()[0] == 200
    nurse.post(f"/patients/{kept}/link")
    assert (phone.fetch()[1]["state"], case.phone(kept).fetch()[0]) == ("replaced", 200)


def test_a_record_that_was_merged_twice_names_the_one_that_counts(staff: StaffCase, nurse: Staff) -> None:
    first, second, third = (staff.case.enrol(side(staff)) for side in (left, right, lambda _: left(staff)))
    make_one(nurse, second, "Y-0001")
    make_one(nurse, third, "Y-0002")
    assert [patient_of(staff, each).merged_into_id for each in (first, second)] == [third, third]
    with staff.case.store.reading() as session:
        merges = [row.id for row in session.scalars(select(PatientMerge).order_by(PatientMerge.id))]
    page = f"/patients/{third}/same-person"
    assert mend(nurse, page, f"{page}/{merges[1]}/undo").status_code == 302
    assert [patient_of(staff, each).merged_into_id for each in (first, second)] == [second, None]


def test_taking_a_withdrawal_back_gives_no_consent_back_that_a_merge_ended(staff: StaffCase, nurse: Staff) -> None:
    case = staff.case
    kept = case.enrol(left(staff), consents=("contact", "research"))
    alias = case.enrol(right(staff), consents=("contact",), first_name="Ada Maria")
    leave = {"reason": "withdrew", "leave-on": case.today.isoformat(), "sure": "yes", "extent": "contact", "by": "self"}
    nurse.post(f"/patients/{alias}/leave", leave)
    make_one(nurse, kept, "Y-0002")
    page = f"/patients/{kept}/leave"
    assert mend(nurse, page, f"{page}/withdrew").status_code == 302
    assert patient_of(staff, kept).withdrew_on is None
    with case.store.reading() as session:
        standing = select(Consent.kind).where(Consent.patient_id == kept, Consent.withdrawn_on.is_(None))
        assert session.scalars(standing).all() == []
