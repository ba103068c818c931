"""What a patient said beside a form is a row of its own on Today, and is settled by doing what it asks for."""

import pytest
from sqlalchemy import select

from server.clinic.entries import ShoulderEntry
from server.jobs.clock import one_pass
from server.models import Flag, Message
from server.staff.page import words
from server.worklist.queries import SAID_KINDS
from tests.staff.html_page import read_page
from tests.staff.staff_case import Staff, StaffCase, years_ago
from tests.staff.visited import open_timepoint

pytestmark = pytest.mark.parametrize("database_url", ["sqlite"], indirect=True, scope="module")


def said(staff: StaffCase, kind: str, patient_id: int | None = None, **more: str) -> tuple[int, int]:
    """Ada's patient id, and the id of the flag."""
    case = staff.case
    ada = patient_id or case.enrol(ShoulderEntry(side="right", surgery_on=years_ago(case, 1)), phone="+34 600 111 222")
    with case.store.writing() as session:
        timepoint_id = open_timepoint(staff, ada, "year-1")
        flag = Flag(kind=kind, patient_id=ada, timepoint_id=timepoint_id, raised_at=case.now, **more)
        session.add(flag)
        session.flush()
        return ada, flag.id


def settled(staff: StaffCase, flag_id: int) -> tuple[bool, str | None]:
    with staff.case.store.reading() as session:
        flag = session.get_one(Flag, flag_id)
        return flag.settled_at is not None and flag.settled_by_id is not None, flag.settled_note


def test_each_kind_is_a_row_that_says_what_was_said_and_leads_on(staff: StaffCase, nurse: Staff) -> None:
    ada, _flag = said(staff, SAID_KINDS[0])
    for kind in SAID_KINDS[1:]:
        said(staff, kind, ada, **({"true_side": "left"} if kind == "said_wrong_side" else {}))
    page = read_page(nurse.get("/today?kind=said").text)
    assert [each.text for each in page.all("span", class_="state now")] == [
        "asks for a call", "asks to stop", "says: wrong person", "says: wrong side", "says: wrong date"
    ]  # fmt: skip
    assert [each.text for each in page.all("span", class_="state warn")] == ["says: has died"]
    for shown in ("has died. No message goes out", "to be called", "for no more messages", "for another person"):
        assert shown in page.words
    assert (
        "names the wrong shoulder. It is the left one, they say." in page.words
        and "day of the operation is wrong" in page.words
    )
    assert len(page.all("a", class_="tel")) == len(SAID_KINDS)
    own = read_page(nurse.get(f"/patients/{ada}").text).words
    assert own.count("Messages are paused until this is settled.") == 2 and "It is the left shoulder, they say." in own


def test_a_death_is_entered_and_that_settles_it(staff: StaffCase, nurse: Staff) -> None:
    ada, flag_id = said(staff, "said_died")
    page = nurse.get(f"/flags/{flag_id}").text
    assert "Enter the death" in page and "It is a mistake" in page
    way = nurse.post(f"/flags/{flag_id}/note", {"note": "her son rang", "then": "leave"})
    assert way.location.endswith("#form-leave")
    left = {"reason": "died", "leave-on": staff.case.today.isoformat(), "sure": "yes"}
    left |= {"died_source": "relative", "died_certainty": "reported"}
    nurse.post(f"/patients/{ada}/leave", left)
    assert settled(staff, flag_id) == (True, f"her son rang\nThe death was entered: {words.day(staff.case.today)}.")
    assert "has died" not in nurse.get("/today").text


def test_a_mistake_is_undone_with_its_reason_and_messages_go_on(staff: StaffCase, nurse: Staff) -> None:
    ada, flag_id = said(staff, "said_died")

    def sent() -> int:
        one_pass(staff.case.runtime)
        with staff.case.store.reading() as session:
            return len(session.scalars(select(Message.id).where(Message.outcome == "sent")).all())

    assert sent() == 0
    assert nurse.post(f"/flags/{flag_id}", {"note": " "}).status_code == 422
    nurse.post(f"/flags/{flag_id}", {"note": "she answered the telephone herself"})
    assert settled(staff, flag_id) == (True, "she answered the telephone herself")
    assert sent() == 1
    page = read_page(nurse.get(f"/patients/{ada}").text).words
    assert "she answered the telephone herself" in page and "Messages are paused" not in page


def test_what_was_said_again_is_one_row_and_is_settled_at_once(staff: StaffCase, nurse: Staff) -> None:
    ada, first = said(staff, "said_died")
    flags = [first, said(staff, "said_died", ada)[1]]
    with staff.case.store.writing() as session:
        session.get_one(Flag, flags[1]).timepoint_id = None  # said on the list, not within a form
    assert nurse.get("/today?kind=said").text.count("data-row") == 1
    nurse.post(f"/flags/{flags[1]}", {"note": "she answered the telephone herself"})
    assert [settled(staff, each)[0] for each in flags] == [True, True]
    assert "says: has died" not in nurse.get("/today").text


def test_two_sides_that_were_named_stay_two_things(staff: StaffCase, nurse: Staff) -> None:
    ada, left = said(staff, "said_wrong_side", true_side="left")
    right = said(staff, "said_wrong_side", ada, true_side="right")[1]
    page = read_page(nurse.get("/today?kind=said").text).words
    assert "It is the left one, they say." in page and "It is the right one, they say." in page
    nurse.post(f"/flags/{left}", {"note": "the file says left"})
    assert [settled(staff, each)[0] for each in (left, right)] == [True, False]


def test_a_withdrawal_settles_the_wish_to_stop_and_a_note_does_too(staff: StaffCase, nurse: Staff) -> None:
    ada, flag_id = said(staff, "asked_to_stop")
    assert "Enter the withdrawal" in nurse.get(f"/flags/{flag_id}").text
    gone = {
        "reason": "withdrew",
        "leave-on": staff.case.today.isoformat(),
        "extent": "contact",
        "sure": "yes",
        "by": "self",
    }
    nurse.post(f"/patients/{ada}/leave", gone)
    assert settled(staff, flag_id) == (True, f"The withdrawal was entered: {words.day(staff.case.today)}.")
    _other, noted = said(staff, "asked_to_stop", staff.case.enrol(first_name="Bela"))
    nurse.post(f"/flags/{noted}", {"note": "meant the text messages of another clinic"})
    assert settled(staff, noted)[0]


def test_a_call_settles_the_wish_for_one_once_somebody_was_spoken_to(staff: StaffCase, nurse: Staff) -> None:
    ada, flag_id = said(staff, "asked_for_call")
    opened = read_page(nurse.get(f"/today?open=flag-{flag_id}").text)
    assert [each.attributes["action"] for each in opened.all("form", class_="small-form attempt")] == [
        f"/patients/{ada}/attempts"
    ]
    nurse.post(f"/patients/{ada}/attempts", {"channel": "telephone", "result": "no_answer"})
    assert settled(staff, flag_id) == (False, None)
    assert "Tried to reach once, today: no answer." in read_page(nurse.get("/today?kind=said").text).words
    nurse.post(f"/patients/{ada}/attempts", {"channel": "telephone", "result": "reached", "note": "about the sling"})
    assert settled(staff, flag_id) == (True, "about the sling")
    assert "asks for a call" not in nurse.get("/today").text
