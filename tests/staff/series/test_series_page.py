"""The page on a series: a sentence whose words open their choices, a flow that adds up, and the people behind a loss."""

import re
from html import unescape

import pytest

from server.clinic.entries import ShoulderEntry
from server.models import Timepoint
from server.outcomes.series.flow import Flow
from tests.staff.log.test_log_pages import line_of
from tests.staff.staff_case import ROLES, Staff, StaffCase, years_ago

pytestmark = pytest.mark.parametrize("database_url", ["sqlite"], indirect=True, scope="module")


def enrol(staff: StaffCase, name: str, *, consents: tuple[str, ...] = ("contact", "research"), **entry: object) -> int:
    """Operated three years ago on the left, unless said otherwise."""
    given = {"side": "left", "surgery_on": years_ago(staff.case, 3), "procedure": "resurfacing", **entry}
    return staff.case.enrol(ShoulderEntry(**given), first_name=name, consents=consents)  # type: ignore[arg-type]


def flow(page: str) -> list[tuple[str, str]]:
    """The lines of the table: words and operations."""
    table = page.split('<table class="flow">')[1].split("</table>")[0]
    rows = re.findall(r'<th scope="row">(.*?)</th>\s*<td class="number">(.*?)</td>', table, re.DOTALL)
    return [(unescape(words), re.sub(r"<[^>]+>", "", number).strip()) for words, number in rows]


def links(page: str, kind: str) -> list[str]:
    """The addresses of links: `word`, those of the sentence; `loss`, those of the table to the people behind one."""
    page = page.split('<table class="flow">')[1] if kind == "loss" else page
    found = (
        re.findall(r'<a class="word" href="([^"]+)"', page)
        if kind == "word"
        else re.findall(r'href="(/series/people[^"]+)"', page)
    )
    return [unescape(address) for address in found]


def a_small_clinic(staff: StaffCase, nurse: Staff) -> None:
    """One answered, one did not, one was revised elsewhere in the log, one refuses research, one line of the log."""
    ada = enrol(staff, "Ada", diagnosis="osteoarthritis", surgeon="Dr Quillhurst")
    enrol(staff, "Bela", diagnosis="osteonecrosis")
    enrol(staff, "Cleo", consents=("contact",))
    nurse.post("/log", line_of(staff))
    with staff.case.store.reading() as session:
        of_ada = session.query(Timepoint).filter(Timepoint.patient_id == ada, Timepoint.code == "year-3").one()
        year_3 = of_ada.id
    staff.answer(year_3, {}, on=staff.case.today)


def test_an_empty_record_says_what_will_stand_here(staff: StaffCase, nurse: Staff) -> None:
    page = nurse.get("/series?cuff=intact&open=side").text
    assert "No operation is recorded yet" in page and "/patients/new" in page
    assert '<table class="flow">' not in page
    assert "/patients/new" not in staff.sign_in("data_manager").get("/series").text


def test_the_flow_goes_from_the_log_to_those_who_answered(staff: StaffCase, nurse: Staff) -> None:
    a_small_clinic(staff, nurse)
    page = nurse.get("/series").text
    assert flow(page) == [
        ("operations in the log", "4"),
        ("shoulders that the sentence means", "4"),
        ("asked, does not want to", "−1"),
        ("enrolled, without consent to research", "−1"),
        ("taking part", "2"),
        ("a window is open, and no answer came yet", "−1"),
        ("with an answer after surgery", "1"),
    ]
    assert "4 = 1 + 1 + 1 + 1." in page
    (foot,) = re.findall(r'<p class="foot-of">(.+?)</p>', page[: page.index("</section>")], re.DOTALL)
    # Three shoulders of three years ago: years 1 and 2 have come for each; year 3, which Ada answered, is open.
    forms = r"Forms: 0 of 6 due \(0 %\), 0 of 6 with the dead and the revised \(0 %\)"
    assert re.search(
        rf"n = 1 shoulder, 1 person\. {forms}\. As of 15 June 2026\. .+ Data( [0-9a-f]{{4}}){{3}}\.$", foot
    ), foot
    assert 'href="/series" aria-current="page"' in page
    flow_alone = page[: page.index("</section>")]
    assert (
        flow_alone.count("<svg") == 4 and flow_alone.count("<desc") == 4
    )  # one for each width, of which the style sheet shows one


def test_the_figure_leads_to_the_people_as_the_table_does(staff: StaffCase, nurse: Staff) -> None:
    a_small_clinic(staff, nurse)
    page = nurse.get("/series?side=left&side=right").text
    drawn = re.findall(r'href="(/series/people[^"]+)"', page.split('class="drawn-560"')[1].split("</svg>")[0])
    assert sorted(unescape(address) for address in drawn) == sorted(links(page, "loss")) != []
    assert "/series/people" not in staff.sign_in("data_manager").get("/series").text


def test_the_address_is_the_filter(staff: StaffCase, nurse: Staff) -> None:
    a_small_clinic(staff, nurse)
    page = nurse.get("/series?diagnosis=osteoarthritis&surgeon=Dr+Quillhurst").text
    assert ("another diagnosis, or none recorded", "−1") in flow(page) and "Dr Quillhurst</a>" in page
    feet = re.findall(r'<p class="foot-of">(.*?)</p>', page, re.DOTALL)
    assert feet and all("the log does not tell all that the sentence asks" in each for each in feet)
    assert all(re.search(r"Data( [0-9a-f]{4}){3}\.$", each) for each in feet)
    refused = nurse.get("/series?years_from=soon").text
    assert "The address says “soon” where a year" in refused and flow(refused) == flow(nurse.get("/series").text)


def test_each_word_of_the_sentence_opens_its_choices(staff: StaffCase, nurse: Staff) -> None:
    a_small_clinic(staff, nurse)
    words = links(nurse.get("/series?side=left").text, "word")
    assert len(words) == 16
    opened = {address.split("open=")[1].split("#")[0].split("&")[0]: nurse.get(address).text for address in words}
    titles = {name: re.search(r"<legend>(.+?)</legend>", page) for name, page in opened.items()}
    assert all(titles.values()) and len({found[1] for found in titles.values() if found}) == 16
    shut = {name: len(re.findall(r'<a class="word" href="[^"]+">', page)) for name, page in opened.items()}
    assert shut == dict.fromkeys(opened, 15)
    diagnosis = opened["diagnosis"]
    assert "osteoarthritis <b>1</b>" in diagnosis and "osteonecrosis <b>1</b>" in diagnosis
    assert "Of 1 more" in diagnosis
    assert '<input type="hidden" name="side" value="left">' in diagnosis
    assert (
        'name="side" value="left" checked' in opened["side"]
        and "hidden" not in opened["side"].split('id="choices"')[1].split("</form>")[0]
    )
    assert "The log has 2023 to" in opened["years"] and "at least once" in opened["mode"]


def test_choices_that_are_sent_become_the_address(staff: StaffCase, nurse: Staff) -> None:
    a_small_clinic(staff, nurse)
    page = nurse.get("/series?side=left&diagnosis=osteoarthritis&diagnosis=osteonecrosis&age_from=&age_to=").text
    assert "osteoarthritis or osteonecrosis</a>" in page and "any age</a>" in page


def test_a_sentence_that_means_nobody_says_so(staff: StaffCase, nurse: Staff) -> None:
    a_small_clinic(staff, nurse)
    page = nurse.get("/series?procedure=no_such_thing").text
    assert "Nobody in the record is whom this sentence means" in page
    assert ("shoulders that the sentence means", "0") in flow(page) and "4 = 0 + 4." in page


def test_one_person_is_no_series(staff: StaffCase, nurse: Staff) -> None:
    enrol(staff, "Ada")
    assert "All that the sentence means is one person" in nurse.get("/series").text


def test_a_loss_leads_to_the_people_behind_it(staff: StaffCase, nurse: Staff) -> None:
    a_small_clinic(staff, nurse)
    found = links(nurse.get("/series?side=left&side=right").text, "loss")
    assert [address.split("loss=")[1].split("&")[0] for address in found] == [
        "taking_part.declined",
        "answered.waiting",
    ]
    line, waiting = (nurse.get(address).text for address in found)
    assert 'href="/log/1"' in line and "1 operation of the log falls off here" in line
    assert "Y-0002</a>" in waiting and "Bela" not in waiting and "side=left&amp;side=right" in waiting
    assert nurse.get("/series/people?loss=answered.nothing").status_code == 404
    assert "Nobody stands here any more" in nurse.get("/series/people?loss=answered.silent").text


def test_who_did_not_agree_to_research_is_a_count_in_the_list_too(staff: StaffCase, nurse: Staff) -> None:
    a_small_clinic(staff, nurse)
    page = nurse.get("/series/people?loss=meant.side&side=right").text
    assert "3 operations of the log fall off here" in page
    assert (
        "1 of them is of somebody who did not agree to research" in page and "Y-0003" not in page and "Y-0001" in page
    )
    assert nurse.get("/series/people?loss=taking_part.no_consent").text.count("Y-0003") == 0


@pytest.mark.parametrize("role", ROLES)
def test_everybody_sees_counts_and_only_who_meets_patients_sees_whom(staff: StaffCase, nurse: Staff, role: str) -> None:
    a_small_clinic(staff, nurse)
    member = staff.sign_in(role)
    page = member.get("/series").text
    assert ("taking part", "2") in flow(page)
    assert bool(links(page, "loss")) == (role != "data_manager")
    assert (member.get("/series/people?loss=answered.waiting").status_code == 200) == (role != "data_manager")


def test_a_flow_whose_sum_fails_is_not_drawn(staff: StaffCase, nurse: Staff, monkeypatch: pytest.MonkeyPatch) -> None:
    enrol(staff, "Ada")
    monkeypatch.setattr(Flow, "failed_sums", lambda _flow: [("taking_part", 4, 3)])
    page = nurse.get("/series").text
    assert "At “taking part” there should be 4 operations, and 3 were counted." in page
    assert '<table class="flow">' not in page


@pytest.mark.parametrize("kind", ["pdf", "png"])
def test_the_flow_is_printed_as_the_page_draws_it(staff: StaffCase, nurse: Staff, kind: str) -> None:
    a_small_clinic(staff, nurse)
    page = nurse.get("/series?side=left").text
    (address,) = re.findall(rf'href="(/series/flow/column\.{kind}[^"]*)"', page)
    printed = nurse.get(unescape(address))
    assert printed.status_code == 200 and printed.mimetype == {"pdf": "application/pdf", "png": "image/png"}[kind]
    assert f"-column.{kind}" in printed.headers["Content-Disposition"]
    assert printed.data == nurse.get(unescape(address)).data
    assert printed.data != nurse.get(f"/series/flow/column.{kind}?side=right").data
    assert nurse.get(f"/series/flow/poster.{kind}").status_code == 404
    assert nurse.get("/series/flow/column.gif").status_code == 404


def test_the_table_behind_a_figure_is_a_file(staff: StaffCase, nurse: Staff) -> None:
    a_small_clinic(staff, nurse)
    written = nurse.get("/series/flow/table.csv?side=left&side=right")
    lines = written.text.split("\r\n")
    assert written.mimetype == "text/csv" and lines[:2] == [
        "row_kind,name,operations,people,as_of",
        "step,log,4,4,2026-06-15",
    ]
    assert "loss,taking_part.declined,1,1,2026-06-15" in lines
    assert nurse.get("/series/flows/table.csv").status_code == 404


def test_an_empty_record_prints_nothing(staff: StaffCase, nurse: Staff) -> None:
    assert nurse.get("/series/flow/column.pdf").status_code == 404
