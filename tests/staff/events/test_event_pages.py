"""Events and visits have pages on which they are entered, corrected with a reason, and taken back; what was reported takes one click."""

from datetime import date, timedelta
from typing import Any

import pytest
from sqlalchemy import select

from server.clinic.entries import ShoulderEntry
from server.models import AuditEntry, Clinic, ClinicEvent, ClinicFinding, Flag, Operation
from tests.staff.html_page import read_page
from tests.staff.sent_form import inputs_of, send
from tests.staff.staff_case import Staff, StaffCase, years_ago
from tests.staff.visited import open_timepoint
from tests.stranger import best

pytestmark = pytest.mark.parametrize("database_url", ["sqlite"], indirect=True, scope="module")

REPORTED = {"kind": "instability", "happened_on": "2026-03", "certainty": "reported", "source_kind": "patient"}


def enrolled(staff: StaffCase, years: int = 1) -> int:
    return staff.case.enrol(ShoulderEntry(side="left", surgery_on=years_ago(staff.case, years), implant_type="reverse"))


def new_event(nurse: Staff, patient_id: int, **fields: str) -> str:
    """The address of the page to which it leads."""
    answer = nurse.post(f"/patients/{patient_id}/events/new", {**REPORTED, "side": "left", **fields})
    assert answer.status_code == 302, answer.text
    return str(answer.location).partition("?")[0]


def the_event(staff: StaffCase) -> ClinicEvent:
    with staff.case.store.reading() as session:
        return session.scalars(select(ClinicEvent)).one()


def test_an_event_is_entered_and_stands_on_the_patients_page_with_how_sure_it_is(
    staff: StaffCase, nurse: Staff
) -> None:
    patient_id = enrolled(staff)
    page = new_event(nurse, patient_id)
    assert the_event(staff).happened_precision == "month"
    told = nurse.get(f"/patients/{patient_id}").text
    assert "Instability or dislocation" in told and ">reported</span>" in told and "March 2026" in told
    assert "Nobody here has checked it yet" in nurse.get(page).text


def test_the_words_of_another_event_are_its_heading_and_stand_there_once(staff: StaffCase, nurse: Staff) -> None:
    page = new_event(nurse, enrolled(staff), kind="other", kind_other="a click at night")
    facts = read_page(nurse.get(page).text).all("dl", class_="facts")[0]
    assert "<h1>A click at night" in nurse.get(page).text
    assert "March 2026" in facts.text and "click" not in facts.text


def test_confirming_asks_for_a_source_and_a_reason_and_names_who_did_it(staff: StaffCase, nurse: Staff) -> None:
    patient_id = enrolled(staff)
    page = new_event(nurse, patient_id)
    confirmed = {"certainty": "confirmed", "source_kind": "patient", "why": "called her"}
    refused = send(nurse, page, page, confirmed)
    assert refused.status_code == 422 and "Name what it was confirmed by" in refused.text
    assert send(nurse, page, page, {**confirmed, "source_kind": "gp", "why": ""}).status_code == 422
    assert send(nurse, page, page, {**confirmed, "source_kind": "gp"}).status_code == 302
    event = the_event(staff)
    assert (event.certainty, event.judged_by, event.judged_on) == ("confirmed", "Nell Nurse", staff.case.today)
    told = nurse.get(page).text
    assert "How sure: “said by the patient” became “checked by staff” (called her), Nell Nurse." in told
    assert "Nobody here has checked it yet" not in told


def test_the_second_of_two_who_correct_one_event_sees_both_values(staff: StaffCase, nurse: Staff) -> None:
    page = new_event(nurse, enrolled(staff))
    shown = {
        "was-happened_on": "2026-03",
        "was-kind": "instability",
        "was-certainty": "reported",
        "was-source_kind": "patient",
    }
    assert nurse.post(page, {**REPORTED, **shown, "happened_on": "2026-02", "why": "first"}).status_code == 302
    second = nurse.post(page, {**REPORTED, **shown, "happened_on": "2026-01", "why": "second"})
    assert second.status_code == 422 and "“2026-03” became “2026-02”" in second.text
    assert the_event(staff).happened_on == date(2026, 2, 1)


def test_what_was_entered_in_error_stays_marked_with_its_reason(staff: StaffCase, nurse: Staff) -> None:
    patient_id = enrolled(staff)
    page = new_event(nurse, patient_id)
    assert nurse.post(f"{page}/in-error", {"act": "take", "why_back": ""}).status_code == 422
    assert nurse.post(f"{page}/in-error", {"act": "take", "why_back": "wrong person"}).status_code == 302
    told = nurse.get(page).text
    assert "It counts nowhere" in told and "Entered in error (wrong person), Nell Nurse." in told
    assert "entered in error" in nurse.get(f"/patients/{patient_id}").text
    assert nurse.post(f"{page}/in-error", {"act": "bring", "why_back": "it was she"}).status_code == 302
    assert the_event(staff).taken_back_at is None


def test_a_slip_of_an_event_is_asked_about_once_and_the_tick_holds_for_what_was_shown(
    staff: StaffCase, nurse: Staff
) -> None:
    patient_id = enrolled(staff)
    new, late = f"/patients/{patient_id}/events/new", {**REPORTED, "side": "left", "kind": "cardiac"}
    asked = nurse.post(new, late)
    assert asked.status_code == 422 and "counted up to 90 days after an operation" in asked.text
    ticked = {**inputs_of(asked.text, new), "checked": "yes"}
    other = nurse.post(new, {**ticked, "kind": "unexpected_positive_culture"})
    assert other.status_code == 422 and "no revision of this shoulder is recorded" in other.text
    with staff.case.store.reading() as session:
        assert session.scalars(select(ClinicEvent)).all() == []
    page = nurse.post(new, ticked).location.partition("?")[0]
    assert "Checked and kept: “Heart” is counted up to 90 days" in nurse.get(page).text
    assert send(nurse, page, page, {"treatment": "medicine", "why": "her letter"}).status_code == 302, "not asked again"
    culture = {"kind": "unexpected_positive_culture", "why": "it was that"}
    asked = send(nurse, page, page, culture)
    assert asked.status_code == 422 and "no revision of this shoulder is recorded" in asked.text
    assert the_event(staff).kind == "cardiac"
    assert nurse.post(page, {**inputs_of(asked.text, page), "checked": "yes"}).status_code == 302
    with staff.case.store.reading() as session:
        kept = AuditEntry.action == "event:checked_and_kept"
        assert len(session.scalars(select(AuditEntry.id).where(kept)).all()) == 2
    assert the_event(staff).kind == "unexpected_positive_culture"


def test_an_event_of_another_patient_is_not_there(staff: StaffCase, nurse: Staff) -> None:
    page = new_event(nurse, enrolled(staff))
    other = staff.case.enrol(ShoulderEntry(side="left"), first_name="Bela")
    assert nurse.get(page.replace("/patients/1/", f"/patients/{other}/")).status_code == 404


def test_a_visit_is_written_down_with_what_was_typed_kept_when_it_is_not_right(staff: StaffCase, nurse: Staff) -> None:
    patient_id = enrolled(staff)
    address = f"/patients/{patient_id}/findings/new"
    assert 'value="Nell Nurse"' in nurse.get(address).text
    visit = {
        "side": "left",
        "examined_on": staff.case.today.isoformat(),
        "examiner": "Dr Quillhurst",
        "flexion_degrees": "145",
    }
    refused = nurse.post(address, {**visit, "strength": "5"})
    assert refused.status_code == 422 and 'value="145"' in refused.text and "Choose the unit" in refused.text
    views = {"radiograph_views": ["true_ap", "axillary"], "internal_rotation": "l3"}
    assert nurse.post(address, {**visit, "strength": "5", "strength_unit": "kg", **views}).status_code == 302
    with staff.case.store.reading() as session:
        found = session.scalars(select(ClinicFinding)).one()
        assert (found.strength_unit, found.radiograph_views) == ("kg", "true_ap,axillary")
    assert "Flexion 145°, internal rotation L3, strength 5 kg" in nurse.get(f"/patients/{patient_id}").text
    assert nurse.post(address, {**visit, "strength": "74", "strength_unit": "n"}).status_code == 302
    assert "strength 74 N" in nurse.get(f"/patients/{patient_id}").text
    asked = nurse.post(address, {**visit, "examined_on": years_ago(staff.case, 5).isoformat()})
    assert asked.status_code == 422 and "more than a year before the first operation" in asked.text
    assert nurse.post(address, {**inputs_of(asked.text, address), "checked": "yes"}).status_code == 302


def answered(staff: StaffCase, patient_id: int, **values: int) -> int:
    timepoint_id = open_timepoint(staff, patient_id, "year-1")
    given = {f"since@2/{item.removeprefix('i')}": value for item, value in values.items()}
    return staff.answer(timepoint_id, given, on=staff.case.today)


@pytest.fixture
def asks_events(staff: StaffCase) -> StaffCase:
    """New follow-ups ask since@2, which asks for events."""
    with staff.case.store.writing() as session:
        session.get_one(Clinic, 1).default_plan = "standard@3"
    return staff


def test_an_event_of_long_ago_is_a_row_of_today_and_one_click_writes_it_down(asks_events: StaffCase) -> None:
    staff, nurse = asks_events, asks_events.sign_in("nurse")
    patient_id = enrolled(staff)
    response_id = answered(staff, patient_id, i7=1, i7a=0)
    with staff.case.store.reading() as session:
        flag = session.scalars(select(Flag)).one()
        assert (flag.kind, flag.item) == ("event_reported", "since@2/7")
    today = nurse.get("/today").text
    assert "infection of this shoulder" in today and "Note as event" in today
    assert nurse.post(f"/flags/{flag.id}/event").status_code == 302
    event = the_event(staff)
    assert (event.kind, event.certainty, event.source_kind) == ("infection", "reported", "patient")
    assert (event.response_id, event.item, event.happened_precision) == (response_id, "since@2/7", "year")
    assert "Note as event" not in nurse.get("/today").text


def test_clicking_twice_or_in_two_places_makes_one_event(asks_events: StaffCase) -> None:
    staff, nurse = asks_events, asks_events.sign_in("nurse")
    response_id = answered(staff, enrolled(staff), i8=1, i8a=1)
    with staff.case.store.reading() as session:
        flag = session.scalars(select(Flag)).one()
        assert (flag.kind, flag.item) == ("safety_answer", "since@2/8a")
    assert f'action="/flags/{flag.id}/event"' in nurse.get("/today").text
    page = nurse.get(f"/responses/{response_id}").text
    assert page.count('name="item" value="since@2/8"') == 1
    first = nurse.post(f"/responses/{response_id}/event", {"item": "since@2/8"})
    second = nurse.post(f"/flags/{flag.id}/event")
    assert first.location.endswith("?done=event-reported")
    assert second.location == first.location.replace("event-reported", "event-there")
    event = the_event(staff)
    assert (event.kind, event.happened_precision) == ("instability", "month")
    with staff.case.store.reading() as session:
        assert session.get_one(Flag, flag.id).settled_at is None, "a safety answer still asks for a call"


def test_a_reported_operation_leads_to_the_form_of_an_operation(asks_events: StaffCase) -> None:
    staff, nurse = asks_events, asks_events.sign_in("nurse")
    patient_id = enrolled(staff)
    response_id = answered(staff, patient_id, i1=1)
    made = nurse.post(f"/responses/{response_id}/event", {"item": "since@2/1"})
    page = nurse.get(made.location).text
    assert f"/patients/{patient_id}/operations/new?side=left&amp;kind=revision" in page and "place=elsewhere" in page


def test_a_reported_operation_is_the_one_that_is_entered_from_it(asks_events: StaffCase) -> None:
    staff, nurse = asks_events, asks_events.sign_in("nurse")
    patient_id = enrolled(staff)
    response_id = answered(staff, patient_id, i1=1)
    event = nurse.post(f"/responses/{response_id}/event", {"item": "since@2/1"}).location
    event_id = the_event(staff).id
    action = f"/patients/{patient_id}/operations/new"
    form = inputs_of(nurse.get(f"{action}?side=left&kind=revision&done=yes&event={event_id}").text, action)
    assert form["event"] == str(event_id)
    typed = {**form, "surgery_on": staff.case.today.isoformat(), "act": "save"}
    assert nurse.post(action, typed).status_code == 302
    page = nurse.get(event).text
    assert "It is recorded as" in page and "Enter the operation" not in page
    assert the_event(staff).recorded_as_id is not None


def test_a_reported_operation_is_one_that_was_recorded_before(asks_events: StaffCase) -> None:
    staff, nurse = asks_events, asks_events.sign_in("nurse")
    patient_id = enrolled(staff)
    response_id = answered(staff, patient_id, i1=1)
    revision = {"side": "left", "kind": "revision", "done": "yes", "surgery_on": staff.case.today.isoformat()}
    assert nurse.post(f"/patients/{patient_id}/operations/new", revision).status_code == 302
    event = nurse.post(f"/responses/{response_id}/event", {"item": "since@2/1"}).location
    assert "It is recorded already: revision" in nurse.get(event).text
    with staff.case.store.reading() as session:
        operation_id = session.scalars(select(Operation.id).where(Operation.kind == "revision")).one()
    action = f"{event.partition('?')[0]}/recorded-as"
    assert nurse.post(action, {"operation": str(operation_id + 99)}).status_code == 404
    assert nurse.post(action, {"operation": str(operation_id)}).status_code == 302
    assert the_event(staff).recorded_as_id == operation_id


def test_an_answer_that_reports_nothing_makes_no_event(asks_events: StaffCase) -> None:
    staff, nurse = asks_events, asks_events.sign_in("nurse")
    response_id = answered(staff, enrolled(staff))
    for item in ("since@2/7", "since@2/2", "sst@1/1", "nonsense", ""):
        assert nurse.post(f"/responses/{response_id}/event", {"item": item}).status_code in (404, 409)
    with staff.case.store.reading() as session:
        assert session.scalars(select(ClinicEvent)).all() == []


def test_the_form_of_a_reported_operation_opens_with_what_the_patient_said(asks_events: StaffCase) -> None:
    staff, nurse = asks_events, asks_events.sign_in("nurse")
    patient_id = enrolled(staff)
    case = staff.case
    phone = case.phone(patient_id)
    phone.fetch()
    month = f"{case.today - timedelta(days=60):%Y-%m}"

    def said(item: dict[str, Any]) -> Any:
        if item["type"] == "month":
            return month
        return "Harbour Clinic" if item["item"] == "1b" else best(item)

    phone.send(phone.seal(phone.payload(phone.sheet["forms"][0], said, case.now)))
    assert case.process().recorded == 1
    with case.store.reading() as session:
        flag_id = min(session.scalars(select(Flag.id).where(Flag.kind == "operated_elsewhere")))
    way = nurse.post(f"/flags/{flag_id}/note", {"note": "she has a letter", "then": "operation"})
    form = f"/patients/{patient_id}/operations/new"
    assert way.location == f"{form}?side=left&kind=revision&done=yes&flag={flag_id}"
    filled = inputs_of(nurse.get(way.location).text, form)
    known = ("side", "kind", "done", "surgery_on", "place", "place_name", "known_by", "certainty")
    assert [filled[name] for name in known] == [
        "left", "revision", "yes", month, "elsewhere", "Harbour Clinic", "patient", "reported",
    ]  # fmt: skip
    other_kind = nurse.get(f"{form}?flag={flag_id}").text
    assert f"kind=conversion&amp;done=yes&amp;flag={flag_id}" in other_kind
    other = enrolled(staff)
    assert nurse.get(way.location.replace(f"/patients/{patient_id}/", f"/patients/{other}/")).status_code == 404
