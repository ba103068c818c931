"""How far a withdrawal goes, and what is still right to do, is said wherever staff look: banner, patient, Today, flags, list."""

from datetime import date, timedelta

import pytest
from sqlalchemy import select

from server.clinic.entries import ShoulderEntry
from server.jobs.clock import one_pass
from server.models import Flag, Message, Patient, Timepoint
from tests.staff.course_case import page_of
from tests.staff.html_page import read_page
from tests.staff.mending.mending_case import timepoint_of
from tests.staff.sent_form import inputs_of
from tests.staff.staff_case import Staff, StaffCase, years_ago
from tests.staff.tree import read_tree

pytestmark = pytest.mark.parametrize("database_url", ["sqlite"], indirect=True, scope="module")


@pytest.fixture
def ada(staff: StaffCase) -> int:
    return staff.case.enrol(ShoulderEntry(side="left", surgery_on=years_ago(staff.case, 1)), phone="+34 600 111 222")


def withdraw(nurse: Staff, patient_id: int, on: date, extent: str) -> str:
    """What the page says after it."""
    fields = {"reason": "withdrew", "leave-on": on.isoformat(), "sure": "yes", "extent": extent, "by": "self"}
    sent = nurse.post(f"/patients/{patient_id}/leave", fields)
    assert sent.status_code == 302
    return said(nurse, str(sent.location))


def said(nurse: Staff, address: str) -> str:
    return read_page(nurse.get(address).text).words


def flagged(staff: StaffCase, patient_id: int, kind: str) -> int:
    with staff.case.store.writing() as session:
        flag = Flag(kind=kind, patient_id=patient_id, raised_at=staff.case.now)
        session.add(flag)
        session.flush()
        return flag.id


def set_died(staff: StaffCase, patient_id: int, on: date | None) -> None:
    with staff.case.store.writing() as session:
        session.get_one(Patient, patient_id).died_on = on


def test_who_wants_no_more_messages_is_followed_on_and_every_page_says_so(
    staff: StaffCase, nurse: Staff, ada: int
) -> None:
    own = withdraw(nurse, ada, staff.case.today, "messages")
    assert "No message goes any more. Forms and the link stay open" in own
    assert "Nothing more is expected" not in own and "the link has ended" not in own
    assert "Asked for no more messages on" in own and "Staff may call, or hand a letter out" in own
    assert "reminders go by themselves" not in own
    one_pass(staff.case.runtime)
    with staff.case.store.writing() as session:
        assert session.scalars(select(Message.outcome)).all() == ["messages_stopped"]
        row = session.get_one(Timepoint, timepoint_of(staff, ada, "year-1").id)
        row.due_on = staff.case.today - timedelta(days=1)
    assert ", not sent: no messages wanted." in said(nurse, f"/patients/{ada}")
    today = read_page(nurse.get("/today?kind=overdue").text)
    assert "no message goes: the patient asked for none on" in today.words and "message sent" not in today.words
    assert "calls and letters by hand only" in today.words
    words = [each.text.split(":")[0] for each in today.all("a", class_="button")]
    assert words == ["Called"], "a reminder by hand is refused, so none is offered"


def test_a_list_finds_who_wants_no_messages_and_who_asked_for_erasure(staff: StaffCase, nurse: Staff, ada: int) -> None:
    withdraw(nurse, ada, staff.case.today, "messages")
    bela = staff.case.enrol(first_name="Bela")
    found = {state: nurse.get(f"/patients?state={state}").text for state in ("no_messages", "erasure")}
    assert f"/patients/{ada}" in found["no_messages"] and f"/patients/{bela}" not in found["no_messages"]
    assert f"/patients/{ada}" not in found["erasure"]
    withdraw(nurse, ada, staff.case.today, "erasure")
    found = {state: nurse.get(f"/patients?state={state}").text for state in ("no_messages", "erasure")}
    assert f"/patients/{ada}" in found["erasure"] and f"/patients/{ada}" not in found["no_messages"]


def test_a_safety_answer_of_who_wants_no_contact_is_for_the_surgeon_to_decide(
    staff: StaffCase, nurse: Staff, ada: int
) -> None:
    flag_id = flagged(staff, ada, "safety_answer")
    assert "Call the patient, follow your local rules" in said(nurse, f"/flags/{flag_id}")
    own = withdraw(nurse, ada, staff.case.today, "contact")
    assert "The surgeon: decide whether care requires a call" in own and "Nobody: nothing more" not in own
    assert "nobody calls or writes for the study, and no attempt is written down here" in own
    assert "Withdrew from contact on" in own and "nobody calls or writes." not in own
    assert "back on" not in own and "Write down an attempt" not in own
    flag = said(nurse, f"/flags/{flag_id}")
    assert "asked for no more contact on" in flag and "The surgeon decides whether care, not research" in flag
    assert "Call the patient" not in flag and "Write down a call first" not in flag
    today = read_page(nurse.get("/today?kind=safety").text)
    assert "the surgeon decides whether care, not research, requires a call." in today.words
    assert [each.text.split(":")[0] for each in today.all("a", class_="button")] == ["Look"]
    assert today.all("a", class_="tel") == []


def test_of_who_has_died_nobody_is_told_to_call_and_no_form_is_said_to_stay_open(
    staff: StaffCase, nurse: Staff, ada: int
) -> None:
    flag_id = flagged(staff, ada, "safety_answer")
    assert "staff may still call" in withdraw(nurse, ada, staff.case.today, "messages")
    set_died(staff, ada, staff.case.today)
    own = said(nurse, f"/patients/{ada}")
    assert "Asked for no more messages on" in own and "stay open" not in own and "staff may still call" not in own
    set_died(staff, ada, None)
    withdraw(nurse, ada, staff.case.today, "contact")
    assert "The surgeon: decide" in said(nurse, f"/patients/{ada}")
    set_died(staff, ada, staff.case.today)
    assert "Staff: settle what waits above." in said(nurse, f"/patients/{ada}")
    assert "requires a call" not in said(nurse, f"/patients/{ada}")
    flag = said(nurse, f"/flags/{flag_id}")
    assert "the patient has died." in flag and "requires a call" not in flag and "Call the patient" not in flag
    today = said(nurse, "/today?kind=safety")
    assert "settled with what is known here" in today and "requires a call" not in today


def test_a_wish_for_a_call_is_not_called_after_a_withdrawal_from_contact(
    staff: StaffCase, nurse: Staff, ada: int
) -> None:
    flag_id = flagged(staff, ada, "asked_for_call")
    withdraw(nurse, ada, staff.case.today, "contact")
    today = nurse.get(f"/today?kind=said&open=flag-{flag_id}").text
    assert "so nobody calls or writes to ask" in today and "Save and next" not in today
    assert "nobody calls or writes to ask" in said(nurse, f"/flags/{flag_id}")


def test_erasure_that_is_asked_for_says_what_is_done_at_once_and_what_is_not(
    staff: StaffCase, nurse: Staff, ada: int
) -> None:
    own = withdraw(nurse, ada, staff.case.today, "erasure")
    assert "Yearmark does not erase yet: the record stays readable for staff until" in own, "the banner"
    assert "The data protection officer: decide on the erasure that was asked for." in own
    assert "Nobody: nothing more" not in own
    for sentence in (
        "Yearmark does not erase yet. What it does at once: nothing is sent, no form is asked",
        "until the clinic's data protection officer decides by local law",
    ):
        assert sentence in own
    assert 'href="/patients?state=erasure"' in nurse.get(f"/patients/{ada}").text


def test_consents_that_were_withdrawn_are_told_with_both_days(staff: StaffCase, nurse: Staff, ada: int) -> None:
    withdraw(nurse, ada, staff.case.today, "erasure")
    (contact,) = [each for each in page_of(staff, f"/patients/{ada}").all("dl") if "Agreed to" in each.words]
    assert "nothing recorded" not in contact.words and contact.words.count(", withdrawn ") == 2
    assert "being contacted (" in contact.words


@pytest.mark.parametrize(
    ("what", "own", "others"),
    [
        ("died", "died_source", ("extent", "by_name")),
        ("withdrew", "by_name", ("died_source",)),
        ("transferred", "sure", ("extent", "died_source")),
    ],
)
def test_a_page_shows_the_fields_of_what_was_chosen_alone_and_the_day_is_today(
    staff: StaffCase, nurse: Staff, ada: int, what: str, own: str, others: tuple[str, ...]
) -> None:
    address = f"/patients/{ada}/leave"
    first = read_page(nurse.get(address).text)
    assert [each.attributes["href"] for each in first.all("a") if f"what={what}" in each.attributes.get("href", "")]
    assert first.all("input", name="leave-on") == []
    page = read_tree(nurse.get(f"{address}?what={what}").text)
    names = [each.attributes.get("name") for each in page.all() if each.tag in ("input", "select")]
    assert own in names and not {*others} & {*names}
    assert inputs_of(nurse.get(f"{address}?what={what}").text, address)["leave-on"] == staff.case.today.isoformat()
    unsure = nurse.post(address, {"reason": what, "leave-on": staff.case.today.isoformat()})
    assert (
        unsure.status_code == 422
        and own in unsure.text
        and not [each for each in others if f'name="{each}"' in unsure.text]
    )


def test_a_withdrawal_can_only_go_further_and_erasure_is_explained_where_it_is_chosen(
    staff: StaffCase, nurse: Staff, ada: int
) -> None:
    withdraw(nurse, ada, staff.case.today, "contact")
    page = read_page(nurse.get(f"/patients/{ada}/leave?what=withdrew").text)
    assert [each.attributes["value"] for each in page.all("input", name="extent")] == ["records", "erasure"]
    assert (
        "Yearmark does not erase yet." in page.words and "Nothing more is expected from that day on" not in page.words
    )


@pytest.mark.parametrize(
    ("extent", "asked"),
    [("records", "asked that nothing more be taken from records"), ("erasure", "asked for erasure")],
)
def test_a_withdrawal_is_told_in_its_whole_extent_and_nobody_is_told_to_ask(
    staff: StaffCase, nurse: Staff, ada: int, extent: str, asked: str
) -> None:
    flag_id = flagged(staff, ada, "operated_elsewhere")
    withdraw(nurse, ada, staff.case.today, extent)
    today, flag = said(nurse, "/today?kind=check"), said(nurse, f"/flags/{flag_id}")
    assert asked[1:] in today and asked in flag and asked in said(nurse, "/patients")
    assert "Confirm" not in today and "Ask for the date" not in flag and "Nobody asks the patient." in flag


def test_after_erasure_was_asked_for_no_contact_detail_and_no_hospital_number_is_added(
    staff: StaffCase, nurse: Staff, ada: int
) -> None:
    withdraw(nurse, ada, staff.case.today, "erasure")
    number = nurse.post(f"/patients/{ada}/numbers", {"issuer": "Ward", "number": "4711"})
    action = f"/patients/{ada}/contact"
    opened = inputs_of(nurse.get(f"/patients/{ada}").text, action)
    added = nurse.post(action, {**opened, "phone": "+34 600 333 444"})
    for refused in (number, added):
        assert refused.status_code == 422 and "no hospital number is added any more" in refused.text
    assert nurse.post(action, {**opened, "phone": ""}).status_code == 302
    assert "This patient asked for erasure: nothing of" in said(nurse, f"/patients/{ada}/events/new")


def test_a_consent_given_after_a_withdrawal_says_that_the_withdrawal_still_stands(
    staff: StaffCase, nurse: Staff, ada: int
) -> None:
    withdraw(nurse, ada, staff.case.today, "contact")
    page = f"/patients/{ada}/consents"
    again = {"kind": "contact", "version": "2", "given_on": staff.case.today.isoformat(), "given_by": "self"}
    same_day = nurse.post(page, again)
    assert same_day.status_code == 422 and "given on that day, is recorded already" in same_day.text
    with staff.case.store.writing() as session:
        for consent in session.get_one(Patient, ada).consents:
            consent.given_on = years_ago(staff.case, 1)
    answer = nurse.post(page, again)
    assert answer.status_code == 302
    told = nurse.get(str(answer.location)).text
    assert "A consent given now changes nothing while that stands" in told and f'href="/patients/{ada}/leave"' in told


def test_a_death_that_is_only_said_is_told_as_said_and_staff_check_it(staff: StaffCase, nurse: Staff, ada: int) -> None:
    set_died(staff, ada, staff.case.today)
    assert "Died on" in said(nurse, f"/patients/{ada}") and "Nobody: nothing more" in said(nurse, f"/patients/{ada}")
    with staff.case.store.writing() as session:
        patient = session.get_one(Patient, ada)
        patient.died_source, patient.died_certainty = "relative", "reported"
    own = said(nurse, f"/patients/{ada}")
    assert "Said to have died on" in own and "not checked." in own and "Died on" not in own
    assert "Staff: check the death, which is only said so far." in own and "said to have died" in said(
        nurse, "/patients"
    )


def test_for_a_safety_answer_the_own_number_is_there_for_care_and_the_second_contact_is_not(
    staff: StaffCase, nurse: Staff, ada: int
) -> None:
    with staff.case.store.writing() as session:
        session.get_one(Patient, ada).second_contact = "Sister, +34 600 999 888"
    safety, other = flagged(staff, ada, "safety_answer"), flagged(staff, ada, "event_reported")
    assert "600 999 888" in said(nurse, f"/flags/{safety}")
    withdraw(nurse, ada, staff.case.today, "records")
    assert "for care only, telephone +34 600 111 222" in said(nurse, f"/flags/{safety}")
    assert "600 111 222" not in said(nurse, f"/flags/{other}")
    assert "600 999 888" not in said(nurse, f"/flags/{safety}") + said(nurse, f"/flags/{other}")
