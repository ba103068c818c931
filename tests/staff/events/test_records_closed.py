"""Who asked that nothing more be taken from records is believed at every form: its head says since when, and the door is shut."""

from datetime import date, timedelta

import pytest
from sqlalchemy import select

from server.clinic.entries import ShoulderEntry
from server.models import Clinic, ClinicEvent, Flag, Operation, OperationLog, Patient, Response
from server.words.language import Words
from tests.staff.sent_form import inputs_of, send
from tests.staff.staff_case import Staff, StaffCase, years_ago
from tests.staff.visited import open_timepoint

pytestmark = pytest.mark.parametrize("database_url", ["sqlite"], indirect=True, scope="module")

EVENT = {"side": "left", "kind": "instability", "certainty": "reported", "source_kind": "patient"}
VISIT = {"side": "left", "examiner": "Dr Quillhurst"}
SOURCE = {"source": "patient", "alive": "alive"}
CLOSED = "asked that nothing more be taken from records on"


@pytest.fixture
def ada(staff: StaffCase) -> int:
    with staff.case.store.writing() as session:
        session.get_one(Clinic, 1).default_plan = "standard@3"
    return staff.case.enrol(ShoulderEntry(side="left", surgery_on=years_ago(staff.case, 1), implant_type="reverse"))


def close(nurse: Staff, patient_id: int, on: date) -> None:
    page = f"/patients/{patient_id}/leave"
    said = {"reason": "withdrew", "leave-on": on.isoformat(), "sure": "yes", "extent": "records", "by": "self"}
    assert send(nurse, f"{page}?what=withdrew", page, said).status_code == 302


def reported(staff: StaffCase, patient_id: int) -> Flag:
    """An infection that was told today, as no more than this year's."""
    timepoint_id = open_timepoint(staff, patient_id, "year-1")
    staff.answer(timepoint_id, {"since@2/7": 1, "since@2/7a": 0}, on=staff.case.today)
    with staff.case.store.reading() as session:
        return session.scalars(select(Flag)).one()


def test_each_form_says_at_its_head_since_when_and_what_may_still_be_entered(
    staff: StaffCase, nurse: Staff, ada: int
) -> None:
    since = staff.case.today - timedelta(days=5)
    visit = nurse.post(f"/patients/{ada}/findings/new", {**VISIT, "examined_on": str(since - timedelta(days=1))})
    row = visit.location.partition("?")[0]
    operation = f"/patients/{ada}/operations"
    forms = [f"/patients/{ada}/{word}/new" for word in ("events", "findings", "sources", "operations")]
    forms += [row, f"{row}/constant", f"{operation}/new?side=left&kind=revision&done=yes", f"{operation}/1/edit"]
    said = f"nothing of {Words('staff', 'en').day(since)} or later is written down. What happened before that day can"
    assert [form for form in forms if said in nurse.get(form).text] == []
    close(nurse, ada, since)
    assert [form for form in forms if said not in nurse.get(form).text] == []


def test_no_door_takes_what_is_of_that_day_or_later(staff: StaffCase, nurse: Staff, ada: int) -> None:
    since = staff.case.today - timedelta(days=5)
    visit = nurse.post(f"/patients/{ada}/findings/new", {**VISIT, "examined_on": str(since - timedelta(days=1))})
    constant = f"{visit.location.partition('?')[0]}/constant"
    close(nurse, ada, since)
    revision = {"side": "left", "kind": "revision", "done": "yes", "act": "save"}

    def tried(on: date) -> dict[str, int]:
        day = on.isoformat()
        doors = {
            "events/new": {**EVENT, "happened_on": day},
            "findings/new": {**VISIT, "examined_on": day},
            "sources/new": {**SOURCE, "known_on": day},
            "operations/new": {**revision, "surgery_on": day},
        }
        codes = {}
        for door, fields in doors.items():
            answer = nurse.post(f"/patients/{ada}/{door}", fields)
            codes[door] = answer.status_code
            assert (CLOSED in answer.text) == (answer.status_code == 422), door
        return codes

    doors = ("events/new", "findings/new", "sources/new", "operations/new")
    assert tried(since) == dict.fromkeys(doors, 422)
    assert tried(since - timedelta(days=1)) == dict.fromkeys(doors, 302)
    told = send(nurse, constant, constant, {"item-2": "2", "told_on": since.isoformat()})
    assert told.status_code == 422 and CLOSED in told.text
    radiographs = {"examined_on": str(since - timedelta(days=2)), "radiograph_on": since.isoformat()}
    assert CLOSED in nurse.post(f"/patients/{ada}/findings/new", {**VISIT, **radiographs}).text


@pytest.mark.parametrize("door", ["events", "operations"])
def test_a_month_in_which_the_records_were_closed_is_refused_and_a_row_that_stands_is_completed(
    staff: StaffCase, nurse: Staff, ada: int, door: str
) -> None:
    since, month = staff.case.today, f"{staff.case.today:%Y-%m}"
    fields = {
        "events": {**EVENT, "happened_on": month},
        "operations": {"side": "left", "kind": "revision", "done": "yes", "act": "save", "surgery_on": month},
    }[door]
    assert nurse.post(f"/patients/{ada}/{door}/new", fields).status_code == 302
    with staff.case.store.reading() as session:
        rows = select(ClinicEvent.id) if door == "events" else select(Operation.id)
        row = session.scalars(rows).all()[-1]
    close(nurse, ada, since)
    refused = nurse.post(f"/patients/{ada}/{door}/new", fields)
    assert refused.status_code == 422 and CLOSED in refused.text
    page = f"/patients/{ada}/{door}/{row}{'/edit' if door == 'operations' else ''}"
    more = {"treatment": "medicine"} if door == "events" else {"surgeon": "Dr Quillhurst"}
    assert send(nurse, page, page, {**more, "why": "from the old letter", "act": "save"}).status_code == 302


def test_a_flag_makes_an_event_of_what_was_said_before_that_day_only(staff: StaffCase, nurse: Staff, ada: int) -> None:
    flag = reported(staff, ada)
    close(nurse, ada, staff.case.today)
    assert "or later is written down" in nurse.get(f"/flags/{flag.id}").text
    for door, fields in (
        (f"/flags/{flag.id}/event", {}),
        (f"/responses/{flag.response_id}/event", {"item": "since@2/7"}),
    ):
        refused = nurse.post(door, fields)
        assert refused.status_code == 422 and CLOSED in refused.text and "Nothing is saved" in refused.text
    with staff.case.store.writing() as session:
        assert session.scalars(select(ClinicEvent)).all() == []
        session.get_one(Response, flag.response_id).finished_at -= timedelta(days=1)
    assert nurse.post(f"/flags/{flag.id}/event").status_code == 302


def test_an_event_is_corrected_to_what_the_answer_shows_to_have_been_before_that_day(
    staff: StaffCase, nurse: Staff, ada: int
) -> None:
    flag, today = reported(staff, ada), staff.case.today
    page = str(nurse.post(f"/flags/{flag.id}/event").location).partition("?")[0]
    with staff.case.store.writing() as session:
        session.get_one(Response, flag.response_id).finished_at -= timedelta(days=1)
    close(nurse, ada, today)
    after = send(nurse, page, page, {"happened_on": today.isoformat(), "why": "she said so"})
    assert after.status_code == 422 and CLOSED in after.text
    month = {"happened_on": f"{today - timedelta(days=1):%Y-%m}", "why": "it was this month"}
    assert send(nurse, page, page, month).status_code == 302
    with staff.case.store.reading() as session:
        assert session.scalars(select(ClinicEvent.happened_precision)).one() == "month"


def test_a_line_of_the_log_is_not_linked_to_an_operation_of_that_day_or_later(
    staff: StaffCase, nurse: Staff, ada: int
) -> None:
    on = years_ago(staff.case, 1)
    line = {"side": "left", "procedure": "reverse", "birth_year": "1957", "not_enrolled_reason": "declined"}
    assert nurse.post("/log", {**line, "surgery_on": on.isoformat()}).status_code == 302
    with staff.case.store.writing() as session:
        line_id = session.scalars(select(OperationLog.id)).one()
        patient = session.get_one(Patient, ada)
        patient.withdrawal_extent, patient.withdrew_on, patient.records_closed_on = "records", on, on
        number = patient.study_number
    page = f"/log/{line_id}"
    fields = {**inputs_of(nurse.get(page).text, f"{page}/enrolled"), "study_number": number}
    refused = nurse.post(f"{page}/enrolled", fields)
    assert refused.status_code == 422 and CLOSED in refused.text
    with staff.case.store.writing() as session:
        patient = session.get_one(Patient, ada)
        patient.withdrew_on = patient.records_closed_on = on + timedelta(days=1)
    assert nurse.post(f"{page}/enrolled", fields).status_code == 302


def test_an_event_is_not_confirmed_by_something_of_that_day_or_later(staff: StaffCase, nurse: Staff, ada: int) -> None:
    flag, since = reported(staff, ada), staff.case.today
    assert nurse.post(f"/flags/{flag.id}/event").status_code == 302
    close(nurse, ada, since)
    with staff.case.store.reading() as session:
        page = f"/patients/{ada}/events/{session.scalars(select(ClinicEvent.id)).one()}"
    assert "unless an answer given before that day" in " ".join(nurse.get(page).text.split())
    confirmed = {
        "certainty": "confirmed",
        "source_kind": "examination",
        "judged_by": "Dr Quillhurst",
        "why": "seen here",
    }
    confirmed["happened_on"] = f"{since.year}"
    refused = send(nurse, page, page, {**confirmed, "judged_on": since.isoformat()})
    assert refused.status_code == 422 and CLOSED in refused.text
    assert send(nurse, page, page, {**confirmed, "judged_on": str(since - timedelta(days=1))}).status_code == 302
