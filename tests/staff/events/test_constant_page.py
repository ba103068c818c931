"""The Constant form of a visit: both parts within 30 days make a total, one entered again counts no longer, and it stays unverified."""

from datetime import timedelta

import pytest
from sqlalchemy import select

from server.clinic.entries import ShoulderEntry
from server.intake.rebuild import find_changes
from server.intake.score_changes import PatientRange
from server.models import Response, Score
from server.words.language import Words
from tests.staff.mending.mending_case import mend
from tests.staff.sent_form import inputs_of, send
from tests.staff.staff_case import Staff, StaffCase, years_ago

pytestmark = pytest.mark.parametrize("database_url", ["sqlite"], indirect=True, scope="module")

TOLD = {"1": 30, "2": 2, "3": 10, "4": 40, "5": 10}
MEASURED = {"6": 150, "7": 140, "8": 1, "9": 1, "10": 1, "11": 1, "12": 0, "13": 8, "14": 5000}


def visit(staff: StaffCase, nurse: Staff, **found: str) -> str:
    patient_id = staff.case.enrol(
        ShoulderEntry(side="left", surgery_on=years_ago(staff.case, 2), implant_type="reverse")
    )
    fields = {"side": "left", "examined_on": staff.case.today.isoformat(), "examiner": "Dr Quillhurst", **found}
    return str(nurse.post(f"/patients/{patient_id}/findings/new", fields).location).partition("?")[0]


def items(*parts: dict[str, int]) -> dict[str, str]:
    return {f"item-{item}": str(value) for part in parts for item, value in part.items()}


def totals(staff: StaffCase) -> list[tuple[bool, str, float | None]]:
    with staff.case.store.reading() as session:
        query = select(Response.counted, Response.mode, Score.value).join(Score, Score.response_id == Response.id)
        return [
            (row[0], row[1], row[2])
            for row in session.execute(query.where(Score.scale == "total").order_by(Response.id))
        ]


def test_both_parts_of_one_visit_make_a_total(staff: StaffCase, nurse: Staff) -> None:
    page = visit(staff, nurse)
    assert "unverified" in nurse.get(f"{page}/constant").text
    assert send(nurse, f"{page}/constant", f"{page}/constant", items(TOLD, MEASURED)).status_code == 302
    [(counted, mode, total)] = totals(staff)
    # 12 + (2 + 4 + 3 + 10) + (8 + 8 + 8 + 8) + 5000 g / 453.59237 g
    assert (counted, mode) == (True, "clinic") and total == pytest.approx(74.02, abs=0.01)
    told = nurse.get(page).text
    assert "74" in told
    patient = nurse.get(page.partition("/findings")[0]).text
    assert "Constant score 74" in patient, "it stands where the visit is told on the patient's page"
    day = Words("staff", "en").day(staff.case.today)
    assert f"Finished {day}, " in nurse.get("/responses/1").text, "no hour that nobody entered"
    assert f"<time>{day}</time>" in told


def test_parts_more_than_30_days_apart_make_no_total(staff: StaffCase, nurse: Staff) -> None:
    page = visit(staff, nurse)
    far = {**items(TOLD, MEASURED), "told_on": (staff.case.today - timedelta(days=31)).isoformat()}
    assert send(nurse, f"{page}/constant", f"{page}/constant", far).status_code == 302
    assert totals(staff) == [(True, "clinic", None), (True, "clinic", None)]
    assert nurse.get(page).text.count("no total") == 2
    near = {**far, "told_on": (staff.case.today - timedelta(days=30)).isoformat(), "why": "she answered a day later"}
    assert send(nurse, f"{page}/constant", f"{page}/constant", near).status_code == 302
    assert [counted for counted, _mode, _total in totals(staff)] == [False, False, True]
    assert totals(staff)[-1][2] is not None


def test_what_the_visit_measured_is_offered_and_a_wrong_number_is_refused(staff: StaffCase, nurse: Staff) -> None:
    found = {"flexion_degrees": "120", "pain_free": "yes", "strength": "3", "strength_unit": "kg"}
    page = visit(staff, nurse, **found, strength_position="abduction_90_scapular", internal_rotation="t12")
    shown = nurse.get(f"{page}/constant").text
    assert "The visit has internal rotation T12. Which step that is here is for you to choose" in " ".join(
        shown.split()
    )
    told, measured = shown.split("What was measured on")
    assert "not answered</option>" in told and "not done</option>" not in told and "not done</option>" in measured
    form = inputs_of(shown, f"{page}/constant")
    assert (form["item-6"], form["item-7"], form["item-14"]) == ("120", "", "3000")
    refused = nurse.post(f"{page}/constant", {**form, **items(TOLD), "item-6": "190"})
    assert refused.status_code == 422 and "from 0 to 180" in refused.text and 'value="190"' in refused.text
    assert nurse.post(f"{page}/constant", {**form, "told_on": "2099-01-01"}).status_code == 422
    assert totals(staff) == []


def test_one_entered_in_error_is_kept_and_counts_no_longer(staff: StaffCase, nurse: Staff) -> None:
    page = visit(staff, nurse)
    send(nurse, f"{page}/constant", f"{page}/constant", items(TOLD, MEASURED))
    assert nurse.post(f"{page}/constant/in-error", {"why_back": ""}).status_code == 422
    assert nurse.post(f"{page}/constant/in-error", {"why_back": "another patient"}).status_code == 302
    assert [counted for counted, _mode, _total in totals(staff)] == [False]
    assert "counts no longer" in nurse.get(page).text
    assert "these answers count for nothing" in nurse.get("/responses/1").text


def test_answers_of_a_visit_are_set_aside_and_taken_back_by_the_same_door_as_others(
    staff: StaffCase, nurse: Staff
) -> None:
    page = visit(staff, nurse)
    send(nurse, f"{page}/constant", f"{page}/constant", items(TOLD, MEASURED))
    assert "/responses/1/place" in nurse.get("/responses/1").text
    door = nurse.get("/responses/1/place")
    assert "at the visit on" in door.text and 'name="to"' not in door.text
    assert mend(nurse, "/responses/1/place", reason="wrong_person", what="mend").status_code == 302
    assert [counted for counted, _mode, _total in totals(staff)] == [False]
    assert mend(nurse, "/responses/1/place", what="take_back").status_code == 302
    assert [counted for counted, _mode, _total in totals(staff)] == [True]
    staff.case.now += timedelta(minutes=1)
    again = {**items(TOLD, MEASURED), "item-1": "40", "why": "read again"}
    assert mend(nurse, "/responses/1/place", reason="not_usable", what="mend").status_code == 302
    assert send(nurse, f"{page}/constant", f"{page}/constant", again).status_code == 302
    assert mend(nurse, "/responses/1/place", what="take_back").status_code == 302
    assert [counted for counted, _mode, _total in totals(staff)] == [False, True]  # what was entered later counts


def test_rescoring_reads_a_form_of_a_visit_too(staff: StaffCase, nurse: Staff) -> None:
    page = visit(staff, nurse)
    send(nurse, f"{page}/constant", f"{page}/constant", items(TOLD, MEASURED))
    runtime = staff.case.runtime
    with staff.case.store.reading() as session:
        batch = find_changes(session, PatientRange(0, 10), runtime.keys, runtime.library)
    assert (batch.changes, batch.left_alone) == ([], [])
    assert sum(batch.unchanged.values()) > 10


def move_visit(staff: StaffCase, nurse: Staff, page: str, days: int) -> None:
    day = (staff.case.today - timedelta(days=days)).isoformat()
    assert send(nurse, page, page, {"examined_on": day, "why": "the day was mistyped"}).status_code == 302


def test_the_form_of_a_visit_that_moves_is_put_together_by_its_new_day(staff: StaffCase, nurse: Staff) -> None:
    page = visit(staff, nurse)
    send(nurse, f"{page}/constant", f"{page}/constant", items(TOLD, MEASURED))
    move_visit(staff, nurse, page, 31)
    standing = [total for counted, _mode, total in totals(staff) if counted]
    assert standing == [None, None], "the patient's part was told on its own day, 31 days later"
    move_visit(staff, nurse, page, 30)
    standing = [total for counted, _mode, total in totals(staff) if counted]
    assert standing == [pytest.approx(74.02, abs=0.01)]
    assert len(totals(staff)) == 4, "what counted before is kept"


def test_a_visit_entered_in_error_takes_its_form_along_and_brings_it_back(staff: StaffCase, nurse: Staff) -> None:
    page = visit(staff, nurse)
    for _time in range(2):
        again = {**items(TOLD, MEASURED), "why": "entered again"}
        send(nurse, f"{page}/constant", f"{page}/constant", again)
    staff.case.now += timedelta(minutes=1)
    assert nurse.post(f"{page}/in-error", {"act": "take", "why_back": "another patient"}).status_code == 302
    assert [counted for counted, _mode, _total in totals(staff)] == [False, False]
    assert nurse.post(f"{page}/in-error", {"act": "bring", "why_back": "it was hers"}).status_code == 302
    assert [counted for counted, _mode, _total in totals(staff)] == [False, True]
