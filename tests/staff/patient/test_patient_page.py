"""One patient's page: both shoulders, the answers behind a score, and every small form on it."""

from datetime import date, timedelta
from pathlib import Path

import pytest
from sqlalchemy import select

from server.clinic.entries import ShoulderEntry
from server.links.make import find_live_link
from server.models import FollowUp, Gate, GateTries, Link, Operation, Patient, Timepoint
from server.timepoints.generate import refresh_timepoints
from server.timepoints.plans import shipped_plans
from server.words.language import Words
from tests.staff.html_page import read_page
from tests.staff.sent_form import send, send_checked
from tests.staff.staff_case import DECLINED, Staff, StaffCase, years_ago
from tests.staff.visited import fill_clinic, open_timepoint

# What a page says is the same on either database.
pytestmark = pytest.mark.parametrize("database_url", ["sqlite"], indirect=True, scope="module")


@pytest.fixture
def planned(staff: StaffCase) -> int:
    """A patient whose left shoulder is to be operated in ten days."""
    return staff.case.enrol(ShoulderEntry(side="left", surgery_planned_on=staff.case.today + timedelta(days=10)))


def operation_of(staff: StaffCase, patient_id: int) -> Operation:
    with staff.case.store.reading() as session:
        patient = session.get_one(Patient, patient_id)
        return patient.shoulders[0].operations[0]


def patient_of(staff: StaffCase, patient_id: int) -> Patient:
    with staff.case.store.reading() as session:
        return session.get_one(Patient, patient_id)


def test_both_shoulders_stand_on_the_page_with_their_operations(staff: StaffCase, nurse: Staff) -> None:
    page = nurse.get(f"/patients/{fill_clinic(staff).patient_id}").text
    assert "Left shoulder 2011" in page and "Right shoulder 2025" in page
    assert "left: humeral resurfacing" in page and "right: reverse" in page and "Dr. Imagined" in page
    strips = [title.text for title in read_page(page).all("title") if title.text.startswith(("Left", "Right"))]
    assert len(strips) == 2 and "1 answered" in strips[1]


def test_the_chart_holds_every_score_with_its_words(staff: StaffCase, nurse: Staff) -> None:
    page = nurse.get(f"/patients/{fill_clinic(staff).patient_id}").text
    for value in ("right 11: year 1, 15 June 2026, telephone", "right 2: year 1", "right 80\u00a0%: year 1"):
        assert page.count(f"<title>{value}") == 2, value  # once wide, once narrow
    assert (
        ">Acceptable state</text>" in page and "<h2>Acceptable state</h2>" in page and "good enough" not in page.lower()
    )


def test_under_the_chart_stands_which_scores_come_from_descriptive_texts(staff: StaffCase, nurse: Staff) -> None:
    page = nurse.get(f"/patients/{fill_clinic(staff).patient_id}").text
    assert "Asked in descriptive texts, not the owners&#39; words: Acceptable state question; Pain, 0 to 10;" in page


def test_the_answers_behind_a_score_can_be_opened(staff: StaffCase, nurse: Staff) -> None:
    clinic = fill_clinic(staff)
    assert f'href="/responses/{clinic.response_id}"' in nurse.get(f"/patients/{clinic.patient_id}").text
    page = nurse.get(f"/responses/{clinic.response_id}").text
    rows = [row.text for row in read_page(page).all("tr")]
    assert any("about 3.6 kg (8 lb) lifted" in row and "No" in row and row.strip().endswith("0") for row in rows)
    assert any("hand to the small of the back" in row and "Yes" in row for row in rows)
    assert sum("not asked, because of an earlier answer" in row for row in rows) == 10
    for said in (
        "Score: 11",
        "12 of 12 answered",
        "descriptive text",
        "sst@1/en/descriptive-1",
        "scoring 1",
        "telephone",
    ):
        assert said in page, said
    assert "in its window" in page and "entered by Nell Nurse" in page


def key_file(staff: StaffCase, patient_id: int) -> Path:
    handle = patient_of(staff, patient_id).handle
    return staff.case.runtime.keys.folder / "patient" / handle[:2] / f"{handle}.key"


def test_erased_answers_are_said_to_be_erased(staff: StaffCase, nurse: Staff) -> None:
    clinic = fill_clinic(staff)
    key_file(staff, clinic.patient_id).unlink()
    with staff.case.store.writing() as session:
        session.get_one(Patient, clinic.patient_id).erased_at = staff.case.now
    page = nurse.get(f"/responses/{clinic.response_id}").text
    assert "were erased on 15 June 2026" in page and "small of the back" not in page


def test_answers_whose_key_is_missing_are_not_called_erased(staff: StaffCase, nurse: Staff) -> None:
    clinic = fill_clinic(staff)
    key_file(staff, clinic.patient_id).unlink()
    page = nurse.get(f"/responses/{clinic.response_id}").text
    assert "cannot be read" in page and "not in the key folder" in page and "Tell the data manager" in page
    assert "erased" not in page and "small of the back" not in page
    assert '<td class="number">11</td>' in page  # the scores stay


def test_answers_that_do_not_open_are_said_not_to_open(staff: StaffCase, nurse: Staff) -> None:
    clinic = fill_clinic(staff)
    key_file(staff, clinic.patient_id).write_bytes(b"another key than these answers'!")
    answer = nurse.get(f"/responses/{clinic.response_id}")
    assert answer.status_code == 200
    assert "do not open under this patient&#39;s key" in answer.text and "Tell the data manager" in answer.text
    assert "erased" not in answer.text


def test_what_it_says_is_counted_from_the_data(staff: StaffCase, nurse: Staff) -> None:
    page = read_page(nurse.get(f"/patients/{fill_clinic(staff).patient_id}").text).words
    assert "One of one form answered." in page
    assert "Last answer, year 1 (15 June 2026): shoulder test 11, pain 2 and own rating 80 %." in page
    assert "There is no answer from before surgery" in page
    assert "Asked once after surgery, 15 June 2026: yes." in page


def test_a_change_names_the_people_its_threshold_was_found_in(staff: StaffCase, nurse: Staff) -> None:
    case = staff.case
    patient_id = case.enrol(ShoulderEntry(side="left", surgery_on=years_ago(case, 1)))
    staff.answer(open_timepoint(staff, patient_id, "year-1"), {}, on=case.today)
    case.now += timedelta(days=365)
    staff.answer(open_timepoint(staff, patient_id, "year-2"), {"sst@1/10": 0, "sst@1/9": 0}, on=case.today)
    page = read_page(nurse_page(staff, patient_id)).words
    assert "Two points less than at year 1: within measurement error (2.8)." in page
    assert "2.8, the first change that exceeds it is 3. Found in: mixed shoulder clinic; whether with" in page
    assert (
        "hemiarthroplasty: not stated. Anchor: none: measurement error. Follow-up: 2 weeks apart at most. J Orthop Surg Res"
        in page
    )


def test_a_form_without_a_score_leaves_its_line_dotted(staff: StaffCase, nurse: Staff) -> None:
    """Year 2 was answered, but without an item that the total needs."""
    case = staff.case
    patient_id = case.enrol(ShoulderEntry(side="left", surgery_on=years_ago(case, 1)))
    for year, values in ((1, {}), (2, {"sst@1/4": DECLINED}), (3, {})):
        staff.answer(open_timepoint(staff, patient_id, f"year-{year}"), values, on=case.today)
        case.now += timedelta(days=365)
        with case.store.writing() as session:
            follow_up = session.scalars(select(FollowUp)).one()
            refresh_timepoints(session, follow_up, shipped_plans()["standard@1"], now=case.now, today=case.today)
    page = nurse_page(staff, patient_id)
    assert page.count('class="run left gap"') == 2  # the shoulder test's, once wide and once narrow
    assert page.count('class="run left"') == 2 * 2 * 2  # pain and own rating have both their steps


def nurse_page(staff: StaffCase, patient_id: int) -> str:
    staff.signed_in.clear()  # the clock moved past the end of the session
    return staff.sign_in("nurse").get(f"/patients/{patient_id}").text


def test_the_link_stands_there_as_text_and_as_a_picture(staff: StaffCase, nurse: Staff, planned: int) -> None:
    page = nurse.get(f"/patients/{planned}").text
    with staff.case.store.reading() as session:
        link = find_live_link(session, session.get_one(Patient, planned))
        assert link is not None and link.token is not None
        assert f'data-text="http://127.0.0.1:8017/p/#{link.token}"' in page
    assert "The link as a picture to scan" in page


def test_the_letter_speaks_the_language_of_the_patient(staff: StaffCase, nurse: Staff) -> None:
    english = nurse.get(f"/patients/{staff.case.enrol()}/letter").text
    spanish = nurse.get(f"/patients/{staff.case.enrol(first_name='Inés', language='es')}/letter").text
    assert "Nobody reads answers right away" in english and "<b>112</b>" in english and "555 0101" in english
    assert 'lang="es"' in spanish and "Nadie lee las respuestas enseguida" in spanish and "<b>112</b>" in spanish


def test_a_contact_attempt_is_written_down(staff: StaffCase, nurse: Staff, planned: int) -> None:
    fields = {"channel": "telephone", "result": "promised", "note": "her son helps on Sunday"}
    assert nurse.post(f"/patients/{planned}/attempts", fields).location == f"/patients/{planned}?done=attempt"
    page = nurse.get(f"/patients/{planned}").text
    assert "promised to answer" in page and "her son helps on Sunday" in page and "Nell Nurse" in page


def test_a_contact_attempt_reaches_the_list_of_today(staff: StaffCase, nurse: Staff) -> None:
    patient_id = staff.case.enrol()
    nurse.post(f"/patients/{patient_id}/attempts", {"channel": "telephone", "result": "no_answer"})
    assert "Tried to reach once, today: no answer." in nurse.get("/today").text


def test_an_attempt_without_a_result_keeps_what_was_typed(staff: StaffCase, nurse: Staff, planned: int) -> None:
    answer = nurse.post(f"/patients/{planned}/attempts", {"channel": "letter", "note": "wrote to her"})
    assert answer.status_code == 422 and "wrote to her" in answer.text
    assert "Choose one of: reached, no answer" in answer.text and '<option value="letter" selected>' in answer.text


def test_surgery_done_plans_what_comes_after(staff: StaffCase, nurse: Staff, planned: int) -> None:
    path = f"/patients/{planned}/operations/{operation_of(staff, planned).id}/edit"
    saved = send(nurse, f"{path}?done=yes", path, {"surgery_on": staff.case.today.isoformat()})
    assert saved.location == f"/patients/{planned}?done=operation-saved#operations"
    with staff.case.store.reading() as session:
        codes = set(session.scalars(select(Timepoint.code).where(Timepoint.patient_id == planned)))
    assert {"week-6", "year-1"} <= codes
    assert operation_of(staff, planned).surgery_on == staff.case.today


def test_surgery_done_after_today_is_refused_in_words(staff: StaffCase, nurse: Staff, planned: int) -> None:
    tomorrow = (staff.case.today + timedelta(days=1)).isoformat()
    path = f"/patients/{planned}/operations/{operation_of(staff, planned).id}/edit"
    answer = send(nurse, f"{path}?done=yes", path, {"surgery_on": tomorrow})
    assert answer.status_code == 422 and "is after today" in answer.text and f'value="{tomorrow}"' in answer.text
    assert operation_of(staff, planned).surgery_on is None


def test_surgery_can_be_moved_left_open_and_cancelled(staff: StaffCase, nurse: Staff, planned: int) -> None:
    operation, later = operation_of(staff, planned), staff.case.today + timedelta(days=40)
    page, path = f"/patients/{planned}", f"/patients/{planned}/operations/{operation.id}"
    form, field = f"{path}/edit", f"surgery-{operation.id}-on"
    assert f'href="{form}"' in nurse.get(page).text
    send(nurse, form, form, {"surgery_planned_on": later.isoformat()})
    assert operation_of(staff, planned).surgery_planned_on == later
    send(nurse, form, form, {"surgery_planned_on": ""})
    assert operation_of(staff, planned).surgery_planned_on is None
    unsaid = send(nurse, page, path, {field: ""})
    assert unsaid.status_code == 422 and "Enter the day." in unsaid.text
    cancelled = {field: staff.case.today.isoformat(), f"surgery-{operation.id}-why": "chose otherwise"}
    assert send(nurse, page, path, cancelled).status_code == 302
    assert "chose otherwise" in nurse.get(f"/patients/{planned}").text
    twice = nurse.post(path, {**cancelled, f"was-surgery-{operation.id}-cancelled_on": staff.case.today.isoformat()})
    assert twice.status_code == 422 and "already cancelled" in twice.text


def test_who_died_is_asked_no_more(staff: StaffCase, nurse: Staff) -> None:
    patient_id = staff.case.enrol()
    fields = {"reason": "died", "leave-on": staff.case.today.isoformat()}
    fields |= {"died_source": "hospital", "died_certainty": "confirmed"}
    unsure = nurse.post(f"/patients/{patient_id}/leave", fields)
    assert unsure.status_code == 422 and "tick that you are sure" in unsure.text
    assert nurse.post(f"/patients/{patient_id}/leave", {**fields, "sure": "yes"}).status_code == 302
    with staff.case.store.reading() as session:
        assert session.scalars(select(Link.end_state)).one() == "ended"
        assert session.scalars(select(Gate.state)).one() == "ended"
        assert session.scalars(select(FollowUp.end_reason)).one() == "died"
    assert "Nothing more is expected" in nurse.get(f"/patients/{patient_id}").text
    assert "Ada Arden" not in nurse.get("/today").text


@pytest.mark.parametrize("reason", ["died", "withdrew", "transferred"])
def test_who_left_gets_no_new_link(staff: StaffCase, nurse: Staff, reason: str) -> None:
    patient_id = staff.case.enrol(ShoulderEntry(side="left", surgery_on=years_ago(staff.case, 3)))
    gone = {"reason": reason, "leave-on": staff.case.today.isoformat(), "sure": "yes", "extent": "contact"}
    gone |= {"died_source": "hospital", "died_certainty": "confirmed", "by": "self"}
    assert nurse.post(f"/patients/{patient_id}/leave", gone).status_code == 302
    refused = nurse.post(f"/patients/{patient_id}/link")
    assert (
        refused.status_code == 422 and "Nothing more is expected of this patient, so no link is made." in refused.text
    )
    revision = {"side": "left", "kind": "revision", "surgery_on": years_ago(staff.case, 1).isoformat()}
    assert nurse.post(f"/patients/{patient_id}/operations/new", {**revision, "done": "yes"}).status_code == 302
    with staff.case.store.reading() as session:
        assert session.scalars(select(Link.end_state)).all() == ["ended"]


def test_a_revision_is_added_to_its_shoulder(staff: StaffCase, nurse: Staff) -> None:
    patient_id = staff.case.enrol(ShoulderEntry(side="left", surgery_on=years_ago(staff.case, 3)))
    path = f"/patients/{patient_id}/operations/new"
    revision = {"kind": "revision", "surgery_on": years_ago(staff.case, 1).isoformat(), "done": "yes"}
    wrong = nurse.post(path, {**revision, "side": "right"})
    assert wrong.status_code == 422 and "there is nothing for a revision" in wrong.text
    done = nurse.post(path, {**revision, "side": "left"})
    assert done.location == f"/patients/{patient_id}?done=operation-added#operations"
    page = nurse.get(f"/patients/{patient_id}").text
    assert "2025 (revision)" in page
    for operation, on in (("first operation", years_ago(staff.case, 3)), ("revision", years_ago(staff.case, 1))):
        assert f"<small>{operation}, {Words('staff', 'en').short_day(on)}</small></th>" in page, (
            "each clock has a year 1"
        )
    third = {"side": "left", "kind": "other", "surgery_on": years_ago(staff.case, 1).isoformat(), "done": "yes"}
    send_checked(nurse, path, {**third, "act": "save"})
    assert "2025 (revision), 2025 (other re-operation)" in nurse.get(f"/patients/{patient_id}").text


def test_a_locked_link_is_unlocked_by_a_person(staff: StaffCase, nurse: Staff) -> None:
    clinic = fill_clinic(staff)
    assert "Unlock the link" in nurse.get(f"/patients/{clinic.patient_id}").text
    nurse.post(f"/patients/{clinic.patient_id}/unlock")
    with staff.case.store.reading() as session:
        tries = session.scalars(select(GateTries)).one()
        assert (tries.failures, tries.locked_at) == (0, None)
    assert "Unlock the link" not in nurse.get(f"/patients/{clinic.patient_id}").text


def test_a_new_link_replaces_the_old_one(staff: StaffCase, nurse: Staff, planned: int) -> None:
    nurse.post(f"/patients/{planned}/link")
    with staff.case.store.reading() as session:
        states = session.execute(select(Link.end_state).order_by(Link.id)).scalars().all()
        assert states == ["replaced", None]
        gate = session.get_one(Gate, session.scalars(select(Link.lookup_hash).where(Link.ended_at.is_(None))).one())
        assert gate.state == "due"  # the sheet was published for the new link at once


def test_a_corrected_birth_date_opens_the_same_link(staff: StaffCase, nurse: Staff, planned: int) -> None:
    page, path = f"/patients/{planned}", f"/patients/{planned}/birth-date"
    for wrong in ((staff.case.today + timedelta(days=1)).isoformat(), "0001-01-01", "1899-12-31"):
        refused = send(nurse, page, path, {"birth_on": wrong})
        assert refused.status_code == 422 and "Check the year." in refused.text, wrong
    assert send(nurse, page, path, {"birth_on": "1952-02-28"}).status_code == 302
    assert patient_of(staff, planned).birth_on == date(1952, 2, 28)
    assert staff.case.phone(planned, born=date(1952, 2, 28)).fetch()[0] == 200
    assert staff.case.phone(planned, born=date(1952, 2, 29)).fetch()[0] == 403


def test_contact_details_are_changed_and_checked(staff: StaffCase, nurse: Staff, planned: int) -> None:
    path, fields = f"/patients/{planned}/contact", {"email": "ada at home", "phone": "555 0142", "address": "A street"}
    wrong = send(nurse, f"/patients/{planned}", path, fields)
    assert wrong.status_code == 422 and "555 0142" in wrong.text and "ada at home" in wrong.text
    no_number = send(nurse, f"/patients/{planned}", path, {**fields, "email": "ada@new.example", "phone": "abc"})
    assert no_number.status_code == 422 and "“abc” is not a telephone number" in no_number.text
    assert send(nurse, f"/patients/{planned}", path, {**fields, "email": "ada@new.example"}).status_code == 302
    kept = patient_of(staff, planned)
    assert (kept.email, kept.phone, kept.address, kept.second_contact) == (
        "ada@new.example",
        "555 0142",
        "A street",
        None,
    )


def test_an_odd_number_from_before_stops_no_other_change(staff: StaffCase, nurse: Staff, planned: int) -> None:
    with staff.case.store.writing() as session:
        session.get_one(Patient, planned).phone = "555 0142, evenings"
    page, path = f"/patients/{planned}", f"/patients/{planned}/contact"
    fields = {"email": "ada@new.example", "phone": "555 0142, evenings", "address": ""}
    assert send(nurse, page, path, fields).status_code == 302
    assert send(nurse, page, path, {**fields, "phone": "555 0142, mornings"}).status_code == 422
    kept = patient_of(staff, planned)
    assert (kept.email, kept.phone) == ("ada@new.example", "555 0142, evenings")


def test_the_way_of_contact_is_changed_with_what_it_needs_as_at_enrolment(
    staff: StaffCase, nurse: Staff, planned: int
) -> None:
    path, phone = f"/patients/{planned}/contact", "555 0142"
    assert patient_of(staff, planned).channel_order == "email"
    for wrong, said in (
        ({"channel_order": "email", "email": "", "phone": phone}, "“e-mail” needs an e-mail address"),
        ({"email": "", "phone": phone}, "“e-mail” needs an e-mail address"),
        ({"channel_order": "letter", "email": "", "phone": phone}, "“letter” needs a postal address"),
        ({"channel_order": "pigeon", "email": "", "phone": phone}, "Choose of"),
    ):
        refused = send(nurse, f"/patients/{planned}", path, wrong)
        assert refused.status_code == 422 and said in refused.text, said
    assert patient_of(staff, planned).email is not None
    assert (
        send(
            nurse,
            f"/patients/{planned}",
            path,
            {"channel_order": "telephone", "email": "", "phone": phone, "address": "A street"},
        ).status_code
        == 302
    )
    kept = patient_of(staff, planned)
    assert (kept.channel_order, kept.email) == ("telephone", None)
    assert (
        send(
            nurse,
            f"/patients/{planned}",
            path,
            {"channel_order": "letter", "email": "", "phone": phone, "address": "A street"},
        ).status_code
        == 302
    )
    assert patient_of(staff, planned).channel_order == "letter,telephone"


def test_a_merged_record_leads_to_the_one_that_was_kept(staff: StaffCase, nurse: Staff) -> None:
    kept, alias = staff.case.enrol(first_name="Kept"), staff.case.enrol(first_name="Alias")
    with staff.case.store.writing() as session:
        session.get_one(Patient, alias).merged_into_id = kept
    assert "Kept Arden" in nurse.get(f"/patients/{alias}").text
    assert nurse.post(f"/patients/{alias}/attempts", {"channel": "letter", "result": "other"}).status_code == 404
