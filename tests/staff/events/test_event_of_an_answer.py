"""An answer that was written down as an event before is told as that, also where the event was in error since."""

from typing import Any

import pytest
from sqlalchemy import select
from sqlalchemy.orm import Session

from server.clinic.entries import ShoulderEntry
from server.clinic.reported_events import event_of_answer
from server.fields.check import EntryRefused
from server.models import Clinic, ClinicEvent, Flag, Response
from server.staff.events import reported
from server.words.language import Words
from tests.staff.staff_case import Staff, StaffCase, years_ago
from tests.staff.visited import open_timepoint

pytestmark = pytest.mark.parametrize("database_url", ["sqlite"], indirect=True, scope="module")

ASK = "Nobody here has checked it yet"


@pytest.fixture
def standard(staff: StaffCase) -> None:
    with staff.case.store.writing() as session:
        session.get_one(Clinic, 1).default_plan = "standard@3"


@pytest.fixture
def flag(staff: StaffCase, standard: None) -> Flag:
    """Of a patient who answered that the shoulder was infected, long ago."""
    patient_id = staff.case.enrol(
        ShoulderEntry(side="left", surgery_on=years_ago(staff.case, 1), implant_type="reverse")
    )
    timepoint_id = open_timepoint(staff, patient_id, "year-1")
    staff.answer(timepoint_id, {"since@2/7": 1, "since@2/7a": 0}, on=staff.case.today)
    with staff.case.store.reading() as session:
        return session.scalars(select(Flag)).one()


def written_down(nurse: Staff, flag: Flag) -> str:
    """The page of the event."""
    made = nurse.post(f"/flags/{flag.id}/event")
    assert made.location.endswith("?done=event-reported")
    return str(made.location).partition("?")[0]


def test_the_flag_shows_the_event_that_was_made_of_it_and_offers_none_more(nurse: Staff, flag: Flag) -> None:
    offers = f'action="/flags/{flag.id}/event"'
    asks = nurse.get(f"/flags/{flag.id}").text
    assert offers in asks and "write it down as an event." in asks
    page = written_down(nurse, flag)
    told = nurse.get(f"/flags/{flag.id}").text
    assert "write it down as an event." not in told and "the event below was made of it" in told
    assert offers not in told and f'href="{page}">Infection</a>' in told and ">reported</span>" in told
    answers = nurse.get(f"/responses/{flag.response_id}").text
    assert f'href="{page}"' in answers and "event, reported" in answers and 'value="since@2/7"' not in answers


def test_a_second_click_says_that_the_event_was_there(nurse: Staff, flag: Flag) -> None:
    page = written_down(nurse, flag)
    again = nurse.post(f"/flags/{flag.id}/event")
    assert again.location == f"{page}?done=event-there"
    assert "was written down as an event before" in nurse.get(again.location).text
    from_today = nurse.post(f"/flags/{flag.id}/event", {"back": "today"})
    assert "done=event-there" in from_today.location and from_today.location.startswith("/today")


def test_a_second_click_on_an_event_in_error_says_so_and_where_it_is_brought_back(nurse: Staff, flag: Flag) -> None:
    page = written_down(nurse, flag)
    assert nurse.post(f"{page}/in-error", {"act": "take", "why_back": "she meant the other arm"}).status_code == 302
    for sent in ({}, {"back": "today"}):
        again = nurse.post(f"/flags/{flag.id}/event", sent)
        assert again.location == f"{page}?done=event-in-error#taken-back"
    told = nurse.get(again.location).text
    assert "marked as entered in error" in told and "written down as reported" not in told
    of_flag = nurse.get(f"/flags/{flag.id}").text
    assert "entered in error" in of_flag and f'href="{page}#taken-back"' in of_flag
    assert "event, entered in error" in nurse.get(f"/responses/{flag.response_id}").text


def test_an_event_in_error_does_not_ask_to_be_confirmed(nurse: Staff, flag: Flag) -> None:
    page = written_down(nurse, flag)
    assert ASK in nurse.get(page).text and "Confirm or correct it" in nurse.get(page).text
    nurse.post(f"{page}/in-error", {"act": "take", "why_back": "a slip"})
    told = nurse.get(page).text
    assert ASK not in told and "Confirm or correct it" not in told and "Correct it" in told


def test_the_patients_page_tells_an_event_in_sentences_with_its_day_in_words(
    staff: StaffCase, nurse: Staff, flag: Flag
) -> None:
    page, day = written_down(nurse, flag), Words("staff", "en").day(staff.case.today)
    source = f"Form answered on {day}. The day was not asked."
    told = nurse.get(f"/patients/{flag.patient_id}").text
    assert f"Infection</a>. Known from the patient: {source}</li>" in " ".join(told.split())
    assert source in nurse.get(page).text and staff.case.today.isoformat() not in source
    with staff.case.store.writing() as session:
        event = session.scalars(select(ClinicEvent)).one()
        event.certainty, event.judged_by, event.judged_on = "confirmed", "Nell Nurse", staff.case.today
        event.source_kind, event.source, event.treatment = "gp", "her letter", "medicine"
    sentences = f"Known from the family doctor: her letter. Confirmed by Nell Nurse on {day}. Treatment: medicine or antibiotics. Grade 2."
    assert sentences in nurse.get(f"/patients/{flag.patient_id}").text


def two_reported(staff: StaffCase) -> int:
    """Of another one, who told a fall with the infection: a flag of both."""
    given = {"since@2/7": 1, "since@2/7a": 1, "since@2/9": 1, "since@2/9a": 1}
    shoulder = ShoulderEntry(side="left", surgery_on=years_ago(staff.case, 1), implant_type="reverse")
    patient_id = staff.case.enrol(shoulder, first_name="Bela")
    staff.answer(open_timepoint(staff, patient_id, "year-1"), given, on=staff.case.today)
    with staff.case.store.reading() as session:
        return session.scalars(select(Flag.id).where(Flag.patient_id == patient_id)).all()[0]


def test_of_two_answers_one_in_error_the_other_is_written_down_and_told(
    staff: StaffCase, nurse: Staff, standard: None
) -> None:
    both = two_reported(staff)
    with staff.case.store.reading() as session:
        response_id = session.get_one(Flag, both).response_id
    made = nurse.post(f"/responses/{response_id}/event", {"item": "since@2/7"})
    page = str(made.location).partition("?")[0]
    assert nurse.post(f"{page}/in-error", {"act": "take", "why_back": "a slip"}).status_code == 302
    said = nurse.post(f"/flags/{both}/event")
    assert said.location.endswith("?done=event-reported") and not said.location.startswith(page)


def test_what_is_refused_keeps_nothing_else_from_being_written_down(
    staff: StaffCase, nurse: Staff, standard: None, monkeypatch: pytest.MonkeyPatch
) -> None:
    both = two_reported(staff)

    def refused(session: Session, response: Response, item: str, *rest: Any, **more: Any) -> ClinicEvent:
        if item == "since@2/7":
            raise EntryRefused({"happened_on": ["This day is not possible."]})
        return event_of_answer(session, response, item, *rest, **more)

    monkeypatch.setattr(reported, "event_of_answer", refused)
    said = nurse.post(f"/flags/{both}/event")
    assert said.location.endswith("?done=events-partly")
    assert "What could be written down is" in nurse.get(said.location).text
    again = nurse.post(f"/flags/{both}/event")
    assert again.status_code == 422 and "This day is not possible." in again.text


def test_today_offers_no_event_of_an_answer_that_is_one(staff: StaffCase, nurse: Staff, standard: None) -> None:
    both = two_reported(staff)
    offers = f'action="/flags/{both}/event"'
    assert offers in nurse.get("/today").text
    assert nurse.post(f"/flags/{both}/event").status_code == 302
    told = nurse.get("/today").text
    assert f"/flags/{both}" in told and offers not in told
