"""A call written down in its row of Today: the result stands there, the row is away until its day, and the next row is at hand."""

from datetime import timedelta

import pytest
from sqlalchemy import select

from server.clinic.entries import ShoulderEntry
from server.models import ContactAttempt, Timepoint
from server.staff.page import words
from tests.staff.html_page import Element, Page, read_page
from tests.staff.staff_case import Staff, StaffCase, years_ago
from tests.staff.tree import read_tree

pytestmark = pytest.mark.parametrize("database_url", ["sqlite"], indirect=True, scope="module")

DAY = timedelta(days=1)


def people(page: Page) -> list[str]:
    return [each.text for each in page.all("a") if "data-open" in each.attributes]


def link(page: Page, said: str) -> str:
    found = [each.attributes["href"] for each in page.all("a") if each.text.strip().startswith(said)]
    assert found, said
    return found[0]


def form_of(page: Page) -> tuple[str, dict[str, str]]:
    """Where the form of an opened row goes, and what it brings along by itself."""
    [form] = [each for each in page.all("form") if each.attributes["action"].endswith("/attempts")]
    hidden = [
        each.attributes
        for each in page.all("input", type="hidden")
        if each.attributes["name"].startswith(("back", "today"))
    ]
    return form.attributes["action"], {each["name"]: each["value"] for each in hidden}


def focused(page: Page) -> Element:
    [found] = [each for each in page.elements if "autofocus" in each.attributes]
    return found


def three_overdue(staff: StaffCase) -> tuple[Staff, int]:
    """Enrolled while year 2 was open, and silent since it was due. The nurse, and the first of them."""
    ids = [
        staff.case.enrol(
            ShoulderEntry(side="left", surgery_on=years_ago(staff.case, 2, days=days)),
            first_name=name,
            last_name="Overdue",
        )
        for name, days in (("Ada", 24), ("Bela", 22), ("Cleo", 20))
    ]
    return days_later(staff, 21), ids[0]


def days_later(staff: StaffCase, days: int) -> Staff:
    """The nurse, who signs in again after so many days."""
    staff.case.now += days * DAY
    staff.signed_in.clear()
    return staff.sign_in("nurse")


def test_a_promise_takes_the_row_away_for_three_days_and_the_next_row_is_at_hand(staff: StaffCase) -> None:
    nurse, _first = three_overdue(staff)
    before = read_page(nurse.get("/today?kind=overdue").text)
    order = people(before)
    assert len(order) == 3
    opened = read_page(nurse.get(link(before, "Called")).text)
    assert people(opened) == order and focused(opened).attributes["name"] == "result"
    back_on = words.day(staff.case.today + 3 * DAY)
    assert f"Promised to answerback on {back_on}; reminders rest until then" in opened.words
    path, hidden = form_of(opened)
    done = nurse.post(path, {**hidden, "channel": "telephone", "result": "promised", "note": "on Sunday"})
    assert "kind=overdue" in done.location and "at=timepoint-" in done.location
    after = read_page(nurse.get(done.location).text)
    assert people(after) == order[1:] and focused(after).text == order[1]
    assert f"{order[0]}: The contact attempt is written down." in after.words
    row = next(
        each for each in read_tree(nurse.get(done.location).text).all("li", klass="row") if order[1] in each.words
    )
    assert "written down" not in row.words, "it stands in nobody else's row"
    later = read_page(nurse.get("/today?kind=later").text)
    assert people(later) == order[:1]
    assert (
        f"Tried to reach once, today: promised to answer. Back on {back_on} unless an answer comes; reminders rest"
        in later.words
    )
    nurse = days_later(staff, 3)
    back = read_page(nurse.get("/today?kind=overdue").text)
    assert order[0] in people(back) and "Tried to reach once, 3 days ago: promised to answer." in back.words


def test_a_refusal_ends_it_until_another_call_says_otherwise(staff: StaffCase) -> None:
    nurse, first = three_overdue(staff)
    nurse.post(f"/patients/{first}/attempts", {"channel": "telephone", "result": "declined"})
    nurse = days_later(staff, 20)
    later = read_page(nurse.get("/today?kind=later").text)
    assert "Ada Overdue" in people(later) and "Not wanted: no reminder about it goes any more." in later.words
    nurse.post(f"/patients/{first}/attempts", {"channel": "telephone", "result": "reached"})
    nurse = days_later(staff, 7)
    assert "Ada Overdue" in people(read_page(nurse.get("/today?kind=overdue").text))


def test_what_kept_somebody_from_answering_is_the_reason_once_the_window_has_closed(staff: StaffCase) -> None:
    nurse, first = three_overdue(staff)
    nurse.post(f"/patients/{first}/attempts", {"channel": "telephone", "result": "no_device"})
    later = read_page(nurse.get("/today?kind=later").text).words
    assert "Tried to reach once, today: has nothing to answer on." in later
    assert "had nothing to answer on" not in nurse.get(f"/patients/{first}").text
    nurse = days_later(staff, 150)
    assert "; had nothing to answer on" in nurse.get(f"/patients/{first}").text


def test_staff_may_name_the_day_themselves(staff: StaffCase) -> None:
    nurse, first = three_overdue(staff)
    path, call = f"/patients/{first}/attempts", {"channel": "telephone", "result": "no_answer"}
    for wrong in (staff.case.today, staff.case.today - DAY, staff.case.today + 400 * DAY):
        refused = nurse.post(path, {**call, "again_on": wrong.isoformat(), "note": "kept"})
        assert refused.status_code == 422 and "Name a day from tomorrow on" in refused.text and "kept" in refused.text
    named = staff.case.today + 5 * DAY
    assert nurse.post(path, {**call, "again_on": named.isoformat()}).status_code == 302
    with staff.case.store.reading() as session:
        assert session.scalars(select(ContactAttempt.again_on)).all() == [named]
    assert "again on" in nurse.get(f"/patients/{first}").text


def test_a_call_is_about_all_that_is_open_or_about_the_form_that_is_named(staff: StaffCase, nurse: Staff) -> None:
    year_ago = years_ago(staff.case, 1)
    patient_id = staff.case.enrol(
        ShoulderEntry(side="left", surgery_on=year_ago), ShoulderEntry(side="right", surgery_on=year_ago)
    )
    path, call = f"/patients/{patient_id}/attempts", {"channel": "telephone", "result": "promised"}
    with staff.case.store.reading() as session:
        ids = session.scalars(select(Timepoint.id).where(Timepoint.code == "year-1")).all()

    def resting() -> list[int]:
        with staff.case.store.reading() as session:
            return list(session.scalars(select(Timepoint.id).where(Timepoint.again_on.is_not(None))))

    page = nurse.get(f"/patients/{patient_id}").text
    assert "all forms that are open" in page and "Right shoulder, year 1</option>" in page
    nurse.post(path, {**call, "about": str(ids[0])})
    assert resting() == [ids[0]]
    nurse.post(path, call)
    assert sorted(resting()) == sorted(ids)
    assert nurse.post(path, {**call, "about": "987654"}).status_code == 422
    assert nurse.post(path, {**call, "about": "x"}).status_code == 400


def test_a_form_that_was_not_right_still_leads_back_to_the_list(staff: StaffCase) -> None:
    nurse, first = three_overdue(staff)
    hidden = {"back": "today", "today_kind": "overdue", "today_from": "", "today_next": "timepoint-9"}
    refused = nurse.post(f"/patients/{first}/attempts", {**hidden, "channel": "telephone", "note": "she will call"})
    assert refused.status_code == 422 and "she will call" in refused.text
    _path, again = form_of(read_page(refused.text))
    assert again == hidden


def test_the_number_can_be_tapped_in_the_row(staff: StaffCase, nurse: Staff) -> None:
    for name, phone in (("Ada", "+34 (600) 111-222"), ("Bela", None)):
        overdue = ShoulderEntry(side="left", surgery_on=years_ago(staff.case, 2, days=41))
        staff.case.enrol(overdue, first_name=name, last_name="Overdue", phone=phone)
    page = read_page(nurse.get("/today").text)
    assert [(each.attributes["href"], each.text) for each in page.all("a", class_="tel")] == [
        ("tel:+34600111222", "+34 (600) 111-222")
    ]
