"""An event that was made from a patient's answer goes where the answer goes; what was confirmed stays until a person decides."""

from datetime import timedelta

import pytest
from sqlalchemy import select

from server.clinic.entries import ShoulderEntry
from server.models import AuditEntry, ClinicEvent, Flag, Shoulder
from tests.staff.mending.mending_case import mend, operations_of, reasons, timepoint_of
from tests.staff.mending.test_wrong_place import confirmed
from tests.staff.staff_case import Staff, StaffCase, years_ago

pytestmark = pytest.mark.parametrize("database_url", ["sqlite"], indirect=True, scope="module")
ITEM = "since@2/8"


@pytest.fixture
def ada(staff: StaffCase) -> int:
    return staff.case.enrol(ShoulderEntry(side="left", surgery_on=years_ago(staff.case, 1)))


def reported(staff: StaffCase, nurse: Staff, patient_id: int) -> tuple[int, int]:
    """The answers and the event that one click made of them."""
    form = timepoint_of(staff, patient_id, "year-1").id
    response_id = staff.answer(form, {ITEM: 1}, on=staff.case.today)
    made = nurse.post(f"/responses/{response_id}/event", {"item": ITEM})
    return response_id, int(made.location.partition("?")[0].rsplit("/", 1)[1])


def event(staff: StaffCase, event_id: int) -> ClinicEvent:
    with staff.case.store.reading() as session:
        return session.get_one(ClinicEvent, event_id)


def whose(staff: StaffCase, event_id: int) -> tuple[int, str]:
    with staff.case.store.reading() as session:
        shoulder = session.get_one(Shoulder, session.get_one(ClinicEvent, event_id).shoulder_id)
        return shoulder.patient_id, shoulder.side


def confirm(staff: StaffCase, event_id: int) -> None:
    with staff.case.store.writing() as session:
        row = session.get_one(ClinicEvent, event_id)
        row.certainty, row.source_kind, row.judged_by, row.judged_on = (
            "confirmed",
            "gp",
            "Dr Quillhurst",
            staff.case.today,
        )


def test_it_is_marked_as_an_error_when_the_answers_are_set_aside_and_counts_again_with_them(
    staff: StaffCase, nurse: Staff, ada: int
) -> None:
    response_id, event_id = reported(staff, nurse, ada)
    page = f"/responses/{response_id}/place"
    assert "It goes where the answers go, or counts no longer" in nurse.get(page).text
    assert mend(nurse, page, reason="not_usable", what="mend").location == f"/patients/{ada}?done=mended"
    assert event(staff, event_id).taken_back_at == staff.case.now
    why = "The answers in which it was said were set aside: the letter said so"
    assert [each[3] for each in reasons(staff) if each[0] == "taken_back_at"] == [why]
    with staff.case.store.reading() as session:
        open_flags = select(Flag.id).where(Flag.kind == "event_reported", Flag.settled_at.is_(None))
        assert session.scalars(open_flags).all() == []
    assert nurse.post(f"/responses/{response_id}/event", {"item": "since@2/9"}).status_code == 422
    assert mend(nurse, page, what="take_back").status_code == 302
    assert event(staff, event_id).taken_back_at is None


def test_it_moves_with_answers_that_were_another_person_s_and_comes_back_with_them(
    staff: StaffCase, nurse: Staff, ada: int
) -> None:
    bela = staff.case.enrol(ShoulderEntry(side="right", surgery_on=years_ago(staff.case, 1)), first_name="Bela")
    response_id, event_id = reported(staff, nurse, ada)
    page, place = f"/responses/{response_id}/place", timepoint_of(staff, bela, "year-1").id
    sure = {"reason": "wrong_person", "to": str(place), "sure": "yes", "what": "mend", "other": "Y-0002"}
    assert mend(nurse, f"{page}?other=Y-0002", page, **sure).status_code == 302
    moved = event(staff, event_id)
    assert whose(staff, event_id) == (bela, "right") and moved.taken_back_at is None
    assert moved.response_id != response_id
    assert ("whose", "Y-0001, left", "Y-0002, right", "the letter said so") in reasons(staff)
    assert nurse.get(f"/patients/{bela}/events/{event_id}").status_code == 200
    again = nurse.post(f"/responses/{moved.response_id}/event", {"item": ITEM})
    assert again.location.partition("?")[0] == f"/patients/{bela}/events/{event_id}"
    assert mend(nurse, page, what="take_back").status_code == 302
    assert whose(staff, event_id) == (ada, "left") and event(staff, event_id).response_id == response_id


def test_what_was_confirmed_stays_and_the_pages_ask_a_person_to_decide(
    staff: StaffCase, nurse: Staff, ada: int
) -> None:
    response_id, event_id = reported(staff, nurse, ada)
    confirm(staff, event_id)
    page, own = f"/responses/{response_id}/place", f"/patients/{ada}/events/{event_id}"
    assert "The answers of which it was made" not in nurse.get(own).text
    saved = mend(nurse, page, reason="wrong_person", what="mend")
    assert saved.location == f"{page}?done=mended"
    assert "It stays, since it was confirmed from another source." in nurse.get(saved.location).text
    assert event(staff, event_id).taken_back_at is None
    assert "The answers of which it was made were set aside" in nurse.get(own).text
    waiting = nurse.get("/today?kind=check").text
    assert "event to check" in waiting and "Does the event stand on its own?" in waiting
    with staff.case.store.reading() as session:
        flag_id = session.scalars(select(Flag.id).where(Flag.kind == "event_left_behind")).one()
    assert (
        own in nurse.get(f"/flags/{flag_id}").text
        and "mark it there as entered in error" in nurse.get(f"/flags/{flag_id}").text
    )
    assert mend(nurse, page, what="take_back").status_code == 302
    assert "event to check" not in nurse.get("/today").text, "the answers are back, so nothing is left to decide"


def test_what_was_settled_about_it_stays_in_view_when_the_same_answers_are_set_aside_once_more(
    staff: StaffCase, nurse: Staff, ada: int
) -> None:
    response_id, event_id = reported(staff, nurse, ada)
    confirm(staff, event_id)
    page = f"/responses/{response_id}/place"
    assert mend(nurse, page, reason="not_usable", what="mend").status_code == 302
    with staff.case.store.reading() as session:
        flag_id = session.scalars(select(Flag.id).where(Flag.kind == "event_left_behind")).one()
    assert nurse.post(f"/flags/{flag_id}", {"note": "The ward letter shows it"}).status_code == 302
    assert mend(nurse, page, what="take_back").status_code == 302
    assert mend(nurse, page, reason="not_usable", what="mend").status_code == 302
    again = nurse.get(f"/flags/{flag_id}").text
    assert "The ward letter shows it (Nell Nurse)" in again and "Settle it" in again
    with staff.case.store.reading() as session:
        assert session.get_one(Flag, flag_id).settled_note is None
        done = select(AuditEntry.action).where(AuditEntry.thing == f"flag {flag_id}").order_by(AuditEntry.id)
        assert session.scalars(done).all() == ["flag:raised", "flag:settled", "flag:reopened"]


def test_it_follows_an_operation_whose_side_was_wrong(staff: StaffCase, nurse: Staff, ada: int) -> None:
    response_id, event_id = reported(staff, nurse, ada)
    with staff.case.store.writing() as session:  # no more was known than a year before the operation
        row = session.get_one(ClinicEvent, event_id)
        row.happened_on = years_ago(staff.case, 2)
    [operation] = operations_of(staff, ada)
    page = f"/patients/{ada}/operations/{operation}/side"
    assert mend(nurse, page, **{f"answer-{response_id}": "yes"}, **confirmed(staff)).status_code == 302
    assert whose(staff, event_id) == (ada, "right") and event(staff, event_id).taken_back_at is None
    assert mend(nurse, page).status_code == 302  # back to the side that the form had named
    assert whose(staff, event_id) == (ada, "left") and event(staff, event_id).taken_back_at is None
    staff.case.now += timedelta(minutes=1)
    assert mend(nurse, page).status_code == 302  # and nobody confirms the other one now
    assert event(staff, event_id).taken_back_at == staff.case.now
