"""The methods text: its numbers are those of the page, in English and Spanish; its items leave to the authors what is theirs."""

import csv
import io
import re
from html import unescape

import pytest

from server.staff.series.report_items import ITEMS, RECORD, STROBE
from tests.staff.log.test_log_pages import line_of
from tests.staff.series.test_saved_series import BEFORE, save
from tests.staff.series.test_series_page import a_small_clinic, enrol, flow
from tests.staff.staff_case import Staff, StaffCase, years_ago

pytestmark = pytest.mark.parametrize("database_url", ["sqlite"], indirect=True, scope="module")


@pytest.fixture
def surgeon(staff: StaffCase, nurse: Staff) -> Staff:
    a_small_clinic(staff, nurse)
    return staff.sign_in("surgeon")


def sections(page: str) -> dict[str, str]:
    """By heading."""
    found = re.findall(r'<section><h2 id="\w+">(.*?)</h2><p>(.*?)</p></section>', page, re.DOTALL)
    return {unescape(heading): unescape(text) for heading, text in found}


def test_its_counts_are_those_of_the_page(surgeon: Staff) -> None:
    page, methods = surgeon.get("/series?side=left").text, surgeon.get("/series/methods?side=left").text
    lines, said = dict(flow(page)), sections(methods)
    assert f"The log holds {lines['operations in the log']} operations of 4 people" in said["Design and setting"]
    meant, part = lines["shoulders that the sentence means"], lines["taking part"]
    assert f"Meant are {meant} shoulders" in said["Participants"] and f"{part} / {meant} (67 %)" in said["Participants"]
    assert "Side: left." in said["Participants"] and "1 enrolled, without consent to research" in said["Participants"]
    rates = re.search(r"Forms: .*?\(\d+ %\)\.", unescape(page))
    assert rates is not None and said["Who answered"].startswith(rates[0])
    digest = re.search(r"Data ((?:[0-9a-f]{4} ?){3})", page)
    assert digest is not None and f"known: {digest[1].replace(' ', '')}" in said["Data and software"]
    assert "scores of different versions of an instrument are never pooled" in said["Instruments"]
    assert "is one question in every version, and is counted over them" in said["Instruments"]
    assert "SST" in said["Instruments"] or "Shoulder Test" in said["Instruments"]
    assert (
        "telephone 1" in said["How they answered"] and "Follow-up plan: standard@3 (2)." in said["When they were asked"]
    )


def test_it_says_consecutive_only_where_the_log_shows_it(staff: StaffCase, nurse: Staff) -> None:
    def design() -> str:
        return sections(nurse.get("/series/methods").text)["Design and setting"]

    today = staff.case.today
    assert "consecutive" not in design()
    enrol(staff, "Ada", surgery_on=years_ago(staff.case, 3))
    assert "of the shoulder operations in the operation log of" in design()
    assert "holds nobody who is not enrolled, so that it does not show whether" in design()
    nurse.post("/log", line_of(staff))
    assert f"It has no operations in {today.year - 2} and {today.year - 1}, so that they are not shown" in design()
    enrol(staff, "Bela", surgery_on=years_ago(staff.case, 2))
    enrol(staff, "Cleo", surgery_on=years_ago(staff.case, 1))
    assert design().startswith("A cohort of consecutive shoulder operations at ")
    assert "1 of somebody not enrolled; whether one was never written into it, the program cannot know." in design()


def test_where_the_sentence_wants_some_answers_it_does_not_say_that_all_count(surgeon: Staff) -> None:
    every, some = (
        sections(surgeon.get(f"/series/methods?{words}").text) for words in ("side=left", "side=left&mode=paper")
    )
    assert "also by telephone" in every["What is estimated"] and "also by telephone" not in some["What is estimated"]
    assert "whoever answered otherwise stands with the silent" in some["What is estimated"]
    assert some["Who answered"].startswith("Forms answered as the sentence wants: 0 of ")


def test_it_says_how_the_series_came_to_be_and_what_is_to_be_filled_in(surgeon: Staff) -> None:
    said = sections(surgeon.get("/series/methods?side=left").text)["How this series came to be"]
    assert said.startswith("Explored:") and "STILL TO BE FILLED IN" in said
    save(surgeon, "side=right", **BEFORE, note="for the meeting")
    page = surgeon.get("/series/methods?side=right&series=1&version=1").text
    said = sections(page)["How this series came to be"]
    assert said.startswith("“Left ones”, set before looking on 15 June 2026; version 1 of 1. Note: for the meeting.")
    assert "results of 1 other sentence had been opened" in said and "Not complete" in page
    surgeon.post("/series/saved/1", {"name": "A", "interests": "None.", "was-name": "Left ones", "was-interests": ""})
    page = surgeon.get("/series/methods?side=right&series=1&version=1").text
    assert "Financial interests: None." in page and "Not complete" not in page


def test_every_estimator_that_the_page_shows_is_named(surgeon: Staff) -> None:
    said = sections(surgeon.get("/series/methods?side=left").text)["Statistical methods"]
    for estimator in (
        "Kaplan–Meier", "cumulative incidence", "self-consistent estimator", "one over the chance to answer",
        "whether the form before was answered", "double sampling", "tipping point",
        "exact two-sided binomial test", "Clopper and Pearson", "analysis of covariance",
    ):  # fmt: skip
        assert estimator in said, estimator
    rows = list(csv.DictReader(io.StringIO(surgeon.get("/series/strobe-record.csv?side=left").text)))
    missing_data = next(row["answer"] for row in rows if (row["list"], row["item"]) == (STROBE, "12c"))
    assert "double sampling" in missing_data


def test_a_mixed_model_is_told_where_the_page_gives_it(surgeon: Staff) -> None:
    told = [
        "linear mixed model" in surgeon.get(f"/series/methods.txt?side=left{option}").text
        for option in ("", "&mixed=yes")
    ]
    assert told == [False, True]


def test_whoever_reads_it_has_looked(surgeon: Staff) -> None:
    surgeon.get("/series/methods.txt?side=left")
    assert "were first opened" in surgeon.get("/series/save?side=left").text


def test_the_text_file_is_the_page_and_speaks_both_languages(surgeon: Staff) -> None:
    english = surgeon.get("/series/methods.txt?side=left")
    assert english.mimetype == "text/plain" and "methods-2026-06-15.txt" in english.headers["Content-Disposition"]
    flat = " ".join(english.text.split())
    said = sections(surgeon.get("/series/methods?side=left").text)
    assert len(said) == 10 and all(f"{heading} {' '.join(text.split())}" in flat for heading, text in said.items())
    spanish = surgeon.get("/series/methods.txt?side=left&language=es").text
    assert "Participantes" in spanish and "The log" not in spanish
    numbers = [sorted(re.findall(r"\d+", text)) for text in (english.text, spanish)]
    assert numbers[0] == numbers[1] and len(numbers[0]) > 40


def test_every_item_is_answered_from_the_data_or_left_to_the_authors(surgeon: Staff) -> None:
    rows = list(csv.DictReader(io.StringIO(surgeon.get("/series/strobe-record.csv?side=left").text)))
    assert [(row["list"], row["item"]) for row in rows] == [(item.list, item.number) for item in ITEMS]
    numbers = {name: [item.number for item in ITEMS if item.list == name] for name in (STROBE, RECORD)}
    assert {re.sub("[a-e]", "", each) for each in numbers[STROBE]} == {str(number) for number in range(1, 23)}
    assert len(numbers[STROBE]) == 34 and len(numbers[RECORD]) == 13
    by_item = {(row["list"], row["item"]): row for row in rows}
    assert (
        by_item[STROBE, "20"]["answer"] == "To be written by the authors."
        and by_item[STROBE, "20"]["from"] == "authors"
    )
    assert (
        "Lost from the log to the answers" in by_item[STROBE, "13b"]["answer"]
        and by_item[STROBE, "13b"]["from"] == "data"
    )
    assert all(row["answer"] and row["asks"] for row in rows) and "STROBE 13b" in surgeon.get("/series/methods").text
    linked = re.findall(r'<a href="#(\w+)">', surgeon.get("/series/methods").text)
    assert set(linked) == {name for item in ITEMS for name in item.sections}


def test_an_empty_record_says_so(staff: StaffCase) -> None:
    said = sections(staff.sign_in("nurse").get("/series/methods").text)
    assert said["Participants"] == "The sentence means nobody in the log."
    assert (
        "Nobody has answered an instrument" in said["Instruments"]
        and "No form of a whole year was due yet." in said["Who answered"]
    )
