"""It becomes known late that somebody else answers since some day: what came since then is listed, and a person says who gave it."""

from datetime import timedelta

import pytest
from sqlalchemy import select

from server.clinic.entries import ShoulderEntry
from server.models import Patient, Response, Score
from server.queries.current import VALID_SCORE
from server.queries.last_known import last_known_of
from server.schedule.last_known import Source
from tests.staff.mending.mending_case import WHY, mend, reasons, response_of, timepoint_of
from tests.staff.sent_form import inputs_of
from tests.staff.staff_case import Staff, StaffCase, years_ago

pytestmark = pytest.mark.parametrize("database_url", ["sqlite"], indirect=True, scope="module")


def scores(staff: StaffCase, response_id: int) -> list[tuple[str, float | None]]:
    with staff.case.store.reading() as session:
        valid = session.scalars(select(Score).where(Score.response_id == response_id, VALID_SCORE).order_by(Score.id))
        return [(each.scale, each.value) for each in valid]


def answered_before_it_was_known(staff: StaffCase, nurse: Staff) -> tuple[int, int]:
    """Patient and response: answered today, and recorded today that somebody else answers since ten days."""
    ada = staff.case.enrol(ShoulderEntry(side="left", surgery_on=years_ago(staff.case, 1)))
    response_id = staff.answer(timepoint_of(staff, ada, "year-1").id, {}, on=staff.case.today)
    page = f"/patients/{ada}/consents"
    assert "Who gave the answers since then" not in nurse.get(page).text
    since = (staff.case.today - timedelta(days=10)).isoformat()
    lost = {"capacity_then": "proxy", "capacity_lost_on": since, "representative": "B. Guard"}
    assert mend(nurse, page, f"/patients/{ada}/capacity", **lost).location == f"{page}?done=capacity"
    return ada, response_id


def test_a_person_says_of_answers_that_came_before_it_was_known_who_gave_them(staff: StaffCase, nurse: Staff) -> None:
    ada, response_id = answered_before_it_was_known(staff, nurse)
    page, action, tick = f"/patients/{ada}/consents", f"/patients/{ada}/who-answered", f"answered-{response_id}"
    before = scores(staff, response_id)
    assert before and response_of(staff, response_id).answered_by == "patient", "nothing is said of them by itself"
    asked = nurse.get(page).text
    assert f'id="{tick}"' in asked and "recorded: the patient" in asked
    unsaid = nurse.post(action, {**inputs_of(asked, action), tick: "yes"})
    assert unsaid.status_code == 422 and response_of(staff, response_id).answered_by == "patient"
    assert mend(nurse, page, action, **{tick: "yes"}).status_code == 302
    assert (response_of(staff, response_id).answered_by, scores(staff, response_id)) == ("someone_else", [])
    assert ("answered_by", "patient", "someone_else", WHY) in reasons(staff)
    with staff.case.store.reading() as session:
        known = last_known_of(session, session.get_one(Patient, ada), staff.case.today)
        assert known.reported_alive is not None and known.reported_alive.source == Source.ANSWER_FOR
    stale = nurse.post(action, {**inputs_of(asked, action), tick: "yes", "answered-why": WHY})
    assert stale.status_code == 422 and "meanwhile" in stale.text
    back = {name: text for name, text in inputs_of(nurse.get(page).text, action).items() if name != tick}
    assert nurse.post(action, {**back, "answered-why": WHY}).status_code == 302
    assert (response_of(staff, response_id).answered_by, scores(staff, response_id)) == ("patient", before)
    with staff.case.store.reading() as session:
        assert session.scalars(select(Response.counted)).all() == [True]


def test_answers_from_before_that_day_are_not_in_question(staff: StaffCase, nurse: Staff) -> None:
    ada = staff.case.enrol(ShoulderEntry(side="left", surgery_on=years_ago(staff.case, 1)))
    staff.answer(timepoint_of(staff, ada, "year-1").id, {}, on=staff.case.today - timedelta(days=1))
    page = f"/patients/{ada}/consents"
    lost = {"capacity_then": "stop", "capacity_lost_on": staff.case.today.isoformat(), "representative": "B. Guard"}
    assert mend(nurse, page, f"/patients/{ada}/capacity", **lost).status_code == 302
    assert "Who gave the answers since then" not in nurse.get(page).text
