"""The list of today: who stands on it and why, and that an answer takes the name off."""

import re
from datetime import timedelta

import pytest

from server.clinic.entries import ShoulderEntry
from server.jobs.clock import tick
from server.staff.page.words import count_in_words
from server.staff.today import today, today_rows
from server.worklist import Worklist
from server.worklist.queries import KINDS, OPEN_KINDS
from server.worklist.rows import WorkRow
from server.worklist.words import ACTIONS
from tests.staff.html_page import read_page
from tests.staff.staff_case import Staff, StaffCase, years_ago
from tests.staff.tree import read_tree
from tests.staff.visited import fill_clinic, open_timepoint
from tests.texts.going_live import go_live


def enrol_overdue(staff: StaffCase, first_name: str, *, days: int = 20) -> int:
    """Enrolled when year 2 was open, and silent for three weeks since it was due."""
    case = staff.case
    due = ShoulderEntry(side="left", surgery_on=years_ago(case, 2, days=days))
    patient_id = case.enrol(due, first_name=first_name, last_name="Overdue")
    case.now += timedelta(days=21)
    return patient_id


def test_an_empty_clinic_is_told_what_will_stand_here_and_how_to_begin(nurse: Staff) -> None:
    page = nurse.get("/today").text
    assert "Nobody is enrolled yet" in page and "Enrol the first patient" in page and "Nobody to reach" not in page
    patients = nurse.get("/patients").text
    assert "Nobody is enrolled yet" in patients and "No people" not in patients and "data-search" not in patients


def test_nobody_to_reach_says_so(staff: StaffCase, nurse: Staff) -> None:
    staff.answer(open_timepoint(staff, staff.case.enrol(), "year-1"), {}, on=staff.case.today)
    page = nurse.get("/today").text
    assert "Nobody to reach today" in page and "Nothing waits for you here" in page and "enrol a patient" in page


def test_the_heading_and_the_filter_count_the_same_or_both_are_said(staff: StaffCase, nurse: Staff) -> None:
    fill_clinic(staff)
    page = nurse.get("/today").text
    everything = int(re.findall(r"All (\d+)", page)[0])
    (lead,) = read_page(page).all("p", class_="lead")
    assert f"{count_in_words(everything)} in all" in lead.text
    kinds = re.findall(r'<a href="(/today\?kind=\w+)">([A-Za-z ]+) (\d+)</a>', page)
    assert {name for _path, name, _count in kinds} >= {"Held", "Locked links", "To check"}
    for path, name, count in kinds:
        alone = read_page(nurse.get(path).text)
        assert alone.all("h1")[0].text == f"{name}: {count_in_words(int(count))} of {count_in_words(everything)}"


def test_what_stays_back_stands_apart_and_counts_nobody(staff: StaffCase) -> None:
    go_live(staff.case)
    enrol_overdue(staff, "Bela")
    tick(staff.case.runtime)
    page = staff.sign_in("nurse").get("/today").text
    assert "Nobody to reach today" in page and "One form needs no call yet." in page
    assert "Not sent, as a text of it may not be" in page and 'href="/texts#decision"' in page
    assert "Stays back since" in page and ">overdue<" not in page


def test_a_name_leaves_the_list_once_answered(staff: StaffCase) -> None:
    patient_id = enrol_overdue(staff, "Bela")
    nurse = staff.sign_in("nurse")
    before = nurse.get("/today").text
    assert "One person to reach today" in before and "Bela Overdue" in before and "Left shoulder, year 2." in before
    staff.answer(open_timepoint(staff, patient_id, "year-2"), {}, on=staff.case.today)
    after = nurse.get("/today").text
    assert "Nobody to reach today" in after and "Bela Overdue" not in after


def test_what_is_merely_open_stands_below_and_counts_nobody(staff: StaffCase, nurse: Staff) -> None:
    staff.case.enrol(ShoulderEntry(side="left", surgery_on=years_ago(staff.case, 2) + timedelta(days=60)))
    page = nurse.get("/today").text
    assert "Nobody to reach today" in page and "Open, not overdue" in page and "Ada Arden" in page


def test_safety_answers_come_first_and_lead_to_the_answer(staff: StaffCase) -> None:
    enrol_overdue(staff, "Bela")
    case, nurse = staff.case, staff.sign_in("nurse")
    patient_id = case.enrol(first_name="Cleo", last_name="Warning")
    staff.answer(open_timepoint(staff, patient_id, "year-1"), {"since@2/9": 1, "since@2/9a": 1}, on=case.today)
    page = nurse.get("/today")
    names = [link.text for link in read_page(page.text).all("a") if "data-open" in link.attributes]
    assert names[:2] == ["Cleo Warning", "Bela Overdue"]
    assert "safety answer" in page.text and 'class="button" href="/flags/' in page.text


def test_each_kind_can_be_shown_alone(staff: StaffCase, nurse: Staff) -> None:
    fill_clinic(staff)
    alone = nurse.get("/today?kind=held").text
    assert 'aria-current="true">Held 1' in alone and "Sender not known" in alone
    assert "link locked" not in alone
    assert nurse.get("/today?kind=nonsense").status_code == 200


def test_every_kind_of_work_has_a_button_a_short_name_and_one_filter() -> None:
    filtered = [kind for _name, kinds in today.FILTERS.values() for kind in kinds]
    assert sorted(KINDS) == sorted(ACTIONS) == sorted(today_rows.STATE) == sorted(filtered)
    assert {*today_rows.CALLED, "withheld"} >= set(OPEN_KINDS)


def test_a_long_list_comes_in_pages(staff: StaffCase, monkeypatch: pytest.MonkeyPatch) -> None:
    for number in range(5):
        staff.case.enrol(
            ShoulderEntry(side="left", surgery_on=years_ago(staff.case, 2, days=20 + number)), first_name=f"P{number}"
        )
    staff.case.now += timedelta(days=21)
    nurse = staff.sign_in("nurse")
    monkeypatch.setattr(today, "PAGE", 2)
    first, last = nurse.get("/today").text, nurse.get("/today?from=4").text
    assert "1 to 2 of 5" in first and 'href="/today?from=2"' in first and "Previous</a>" not in first
    assert "5 to 5 of 5" in last and "Next</a>" not in last
    assert "Five things to do today" in first


def row(patient_id: int | None, kind: str = "overdue") -> WorkRow:
    nothing = {"timepoint": None, "title": "", "reason": "", "days_left": None, "since": None, "action": ""}
    return WorkRow(kind, patient_id, "", "", None, "", None, **nothing)  # type: ignore[arg-type]


def test_the_heading_counts_people_not_forms() -> None:
    def work(*rows: WorkRow, more: int = 0) -> Worklist:
        due = sum(each.kind == "due" for each in rows)
        return Worklist(list(rows), {"overdue": len(rows) - due + more, "due": due}, len(rows) + more)

    assert today.heading(work(row(1), row(1), row(2)), 0) == "Two people to reach today"
    assert today.heading(work(row(1), row(None, "held"), row(None, "held")), 0) == "Three people to reach today"
    assert today.heading(work(row(1), row(2), more=300), 0) == "302 things to do today"
    assert today.heading(work(row(1, "due")), 0) == "Nobody to reach today"


def test_what_the_heading_leaves_out_is_said_below_it() -> None:
    def said(**counts: int) -> str:
        return today.in_all(Worklist([], counts, sum(counts.values())))

    assert said() == ""
    assert said(due=1) == "One form needs no call yet."
    assert said(overdue=3) == "Three things to do in all."
    assert (
        said(overdue=3, held=1, due=30, withheld=1)
        == "Four things to do, and 31 forms that need no call yet: 35 in all."
    )
    assert today.heading(Worklist([], {"held": 1, "due": 1200}, 1), 0, "held") == "Held: one of 1,201"
    assert today.heading(Worklist([], {"due": 4}, 0), 0, "held") == "Held: none of four"


def test_whoever_is_reached_by_letter_gets_a_letter_and_a_place_to_write_it_down(staff: StaffCase) -> None:
    patient_id = staff.case.enrol(channel_order=("letter",), address="1 Nowhere Street")
    timepoint_id = open_timepoint(staff, patient_id, "year-1")
    asked = {"back": "today", "today_kind": "overdue", "today_from": "", "today_next": ""}
    page = read_tree(staff.sign_in("nurse").get(f"/timepoints/{timepoint_id}/message", query_string=asked).text)
    first, second, *_others = next(page.all("p", klass="buttons")).all("a")
    assert (first.words, first.attributes["href"]) == ("Letter to print", f"/patients/{patient_id}/letter")
    assert "autofocus" in first.attributes and "second" not in first.attributes["class"].split()
    assert second.attributes["href"] == f"/today?kind=overdue&open=timepoint-{timepoint_id}"
