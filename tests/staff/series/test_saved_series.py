"""Saved series: a sentence kept by name and version, set before looking only while nobody has looked."""

import csv
import io
import re
from html import unescape

import pytest
from sqlalchemy import select
from werkzeug.test import TestResponse

from server.models import AuditEntry, Series, SeriesLook, SeriesVersion
from server.outcomes.figures.print import Sheet
from tests.staff.html_page import read_page
from tests.staff.series.test_series_page import a_small_clinic
from tests.staff.staff_case import Staff, StaffCase

pytestmark = pytest.mark.parametrize("database_url", ["sqlite"], indirect=True, scope="module")
BEFORE = {"declared": "set_before_looking", "sworn": "yes"}


@pytest.fixture
def surgeon(staff: StaffCase, nurse: Staff) -> Staff:
    a_small_clinic(staff, nurse)
    return staff.sign_in("surgeon")


def save(member: Staff, address: str = "side=left", **fields: str) -> TestResponse:
    """The first version, explored, unless said otherwise."""
    sent = {"name": "Left ones", "number": "1", "declared": "explored", "note": "", **fields}
    return member.post(f"/series/save?{address}", sent)


def versions(staff: StaffCase) -> list[tuple[int, str, str, str]]:
    with staff.case.store.reading() as session:
        found = session.scalars(select(SeriesVersion).order_by(SeriesVersion.series_id, SeriesVersion.number))
        return [(row.number, row.sentence, row.options, row.declared) for row in found]


def actions(staff: StaffCase) -> list[str]:
    with staff.case.store.reading() as session:
        said = session.scalars(select(AuditEntry.action).order_by(AuditEntry.id))
        return [action for action in said if action.startswith("series:")]


def head(page: str) -> str:
    line = page.split('class="saved-head"')[1].split("</div>")[0]
    return " ".join(unescape(re.sub(r"<[^>]+>", " ", line.split(">", 1)[1])).split())


def test_what_is_saved_before_anybody_looks_says_so_ever_after(staff: StaffCase, surgeon: Staff) -> None:
    page = surgeon.get("/series/save?side=left").text
    assert "Nobody here has opened figures of these words" in page and "<svg" not in page
    assert "Operations in the log: 4. These words mean 3 of them (3 people); taking part: 2." in page
    assert read_page(page).unlabelled() == []
    saved = save(surgeon, **BEFORE)
    assert saved.location == "/series/saved/1?done=series-set" and actions(staff) == [
        "series:saved",
        "series:version_saved",
    ]
    shown = surgeon.get("/series/saved/1/1")
    assert shown.location == "/series?side=left&series=1&version=1"
    page = surgeon.get(shown.location).text
    assert head(page).startswith("Left ones · set before looking, 15 June 2026 · version 1 of 1")
    assert "Set before looking, 15 June 2026; one version. Not randomised" in " ".join(page.split())
    assert "still to be filled in" in page.split('class="saved-foot"')[1]


def test_what_is_printed_says_how_its_words_came_to_be(
    staff: StaffCase, surgeon: Staff, monkeypatch: pytest.MonkeyPatch
) -> None:
    save(surgeon, **BEFORE)
    feet: list[str] = []

    def sheet(printed: Sheet, *_more: object) -> bytes:
        feet.append(printed.foot)
        return b""

    monkeypatch.setattr("server.staff.series.figure_files.print_sheet", sheet)
    for address in ("side=left&series=1&version=1", "side=left&cuff=intact&series=1&version=1", "side=left"):
        assert surgeon.get(f"/series/flow/column.pdf?{address}").status_code == 200
    assert ["“Left ones”, version 1 of 1: set before looking, 15 June 2026." in foot for foot in feet] == [
        True,
        False,
        False,
    ]
    assert ["Explored, and not saved." in foot for foot in feet] == [False, True, True]


def test_figures_that_anybody_opened_cannot_be_set_before_looking(
    staff: StaffCase, surgeon: Staff, nurse: Staff
) -> None:
    nurse.get("/series?side=left&end=exchange")
    page = surgeon.get("/series/save?side=left").text
    assert "were first opened 15 June 2026, 11:00, by Nell Nurse" in page and 'value="set_before_looking"' not in page
    refused = save(surgeon, **BEFORE)
    assert refused.status_code == 422 and "it is explored" in refused.text and versions(staff) == []
    assert save(surgeon, "side=right", **BEFORE, name="Right ones").status_code == 302


SAME_SHOULDERS = {
    "a word that leaves nobody out": ("diagnosis=osteoarthritis", "diagnosis=osteoarthritis&age_from=1&end=exchange"),
    "every code of a word": ("", "side=left&side=right"),
    "a group of the whole": ("by=diagnosis", "diagnosis=osteoarthritis"),
}


@pytest.mark.parametrize("same", SAME_SHOULDERS)
def test_shoulders_that_anybody_looked_at_are_explored_under_any_words(
    staff: StaffCase, surgeon: Staff, nurse: Staff, same: str
) -> None:
    opened, saved = SAME_SHOULDERS[same]
    nurse.get(f"/series?{opened}")
    page = " ".join(surgeon.get(f"/series/save?{saved}").text.split())
    assert "Figures of the same shoulders, under other words or as a group of others, were first opened 15 June" in page
    refused = save(surgeon, saved, **BEFORE)
    assert refused.status_code == 422 and "have been opened under other words" in refused.text
    assert versions(staff) == [] and save(surgeon, saved).status_code == 302


def test_a_version_after_a_look_at_the_shoulders_of_the_one_before_is_explored(
    staff: StaffCase, surgeon: Staff
) -> None:
    save(surgeon, "diagnosis=osteoarthritis", **BEFORE)
    surgeon.get("/series/survival/table.csv?diagnosis=osteoarthritis&age_from=1")
    later = {"number": "2", "note": "the other ones"}
    refused = save(surgeon, "diagnosis=osteonecrosis&series=1", **BEFORE, **later)
    assert refused.status_code == 422 and len(versions(staff)) == 1


@pytest.mark.parametrize(
    "address",
    ["/series/flow/table.csv?side=left", "/series/save?side=left", "/series/people?loss=meant.side&side=left"],
)
def test_counts_of_the_log_are_no_outcome(staff: StaffCase, surgeon: Staff, address: str) -> None:
    assert surgeon.get(address).status_code == 200
    assert save(surgeon, **BEFORE).status_code == 302


def test_each_first_look_is_kept_once(staff: StaffCase, surgeon: Staff, nurse: Staff) -> None:
    for member in (surgeon, nurse, surgeon):
        member.get("/series?side=left")
    surgeon.get("/series")
    with staff.case.store.reading() as session:
        looks = session.scalars(select(SeriesLook)).all()
    assert len(looks) == 3 and len({look.sentence_sha256 for look in looks}) == 2
    save(surgeon, "cuff=intact")
    with staff.case.store.reading() as session:
        assert session.query(SeriesVersion).one().sentences_before == 2


def test_an_empty_record_has_no_figures_to_look_at(staff: StaffCase) -> None:
    surgeon = staff.sign_in("surgeon")
    surgeon.get("/series?side=left")
    assert "Nobody here has opened figures" in surgeon.get("/series/save?side=left").text


def test_a_version_after_a_look_at_the_one_before_is_explored(staff: StaffCase, surgeon: Staff) -> None:
    save(surgeon, **BEFORE)
    later = {"number": "2", "note": "the years changed"}
    assert save(surgeon, "side=left&years_from=2020&series=1", **BEFORE, **later).status_code == 302
    surgeon.get(surgeon.get("/series/saved/1/1").location)
    third = "side=left&years_from=2022&series=1"
    page = surgeon.get(f"/series/save?{third}").text
    assert "or of an earlier version of this series, were first opened" in page
    assert save(surgeon, third, **BEFORE, number="3", note="x").status_code == 422
    assert save(surgeon, third, number="3", note="later years").location.startswith("/series?side=left&years_from=2022")
    assert [row[3] for row in versions(staff)] == ["set_before_looking", "set_before_looking", "explored"]


def test_words_changed_since_a_version_are_not_that_version(staff: StaffCase, surgeon: Staff) -> None:
    save(surgeon, **BEFORE)
    page = surgeon.get("/series?side=left&years_from=2020&series=1").text
    assert head(page).startswith("Left ones · changed since version 1, not saved: explored")
    assert "save as version 2" in page and "Explored, and not saved." in page
    same = surgeon.get("/series?side=left&series=1").text
    assert "version 1 of 1" in head(same) and "save as version" not in same
    assert head(surgeon.get("/series?side=left&end=exchange&series=1").text).startswith("Left ones · changed")


def test_a_version_taken_meanwhile_is_refused_in_words_and_shown(staff: StaffCase, surgeon: Staff) -> None:
    save(surgeon)
    manager = staff.sign_in("data_manager")
    assert save(manager, "cuff=intact&series=1", number="2", note="the cuff").status_code == 302
    refused = save(surgeon, "side=right&series=1", number="2", note="the other side")
    assert refused.status_code == 422 and "Version 2 was saved by somebody else meanwhile" in refused.text
    assert "by Nell Data Manager" in refused.text and 'name="number" value="3"' in refused.text
    assert "the other side" in refused.text and len(versions(staff)) == 2
    assert save(surgeon, "side=right&series=1", number="3", note="the other side").status_code == 302


REFUSED = {
    "no name": ({"name": " "}, "Name"),
    "before looking, without a word on what was seen": ({"declared": "set_before_looking"}, "Tick this"),
    "a long note": ({"note": "x" * 201}, "200"),
}


@pytest.mark.parametrize("said", REFUSED)
def test_what_is_missing_is_said_and_nothing_is_saved(staff: StaffCase, surgeon: Staff, said: str) -> None:
    fields, words = REFUSED[said]
    refused = save(surgeon, **fields)
    assert refused.status_code == 422 and words in refused.text and "data-errors" in refused.text
    assert versions(staff) == [] and actions(staff) == []


def test_a_name_is_one_series_and_a_version_says_what_changed(staff: StaffCase, surgeon: Staff) -> None:
    save(surgeon)
    assert "Another series has this name" in save(surgeon, "side=right", name="left ONES").text
    assert "Say what changed" in save(surgeon, "side=right&series=1", number="2").text
    same = surgeon.post("/series/save?side=left&series=1", {"number": "2", "declared": "explored", "note": "x"})
    assert "Version 1 has these very words and choices already" in same.text
    assert surgeon.post("/series/save", {"number": "1", "declared": "guessed", "name": "x"}).status_code == 400
    assert surgeon.get("/series/save?series=77").status_code == 404 and len(versions(staff)) == 1


def test_interests_are_filled_in_and_whoever_saves_second_sees_both(staff: StaffCase, surgeon: Staff) -> None:
    save(surgeon)
    manager = staff.sign_in("data_manager")
    first = {"name": "Left ones", "interests": "None declared", "was-name": "Left ones", "was-interests": ""}
    assert surgeon.post("/series/saved/1", first).location.endswith("done=series-corrected")
    second = manager.post("/series/saved/1", {**first, "interests": "Fees from a maker"})
    assert second.status_code == 422 and "“None declared”" in second.text and "Fees from a maker" in second.text
    page = surgeon.get("/series?side=left&series=1").text
    assert "Financial interests: None declared." in page
    assert "Financial interests: nothing became “None declared”" in unescape(surgeon.get("/series/saved/1").text)
    assert actions(staff)[-1] == "series:corrected"


def test_what_is_withdrawn_stays_with_its_reason_and_comes_back(staff: StaffCase, surgeon: Staff) -> None:
    save(surgeon)
    assert surgeon.post("/series/saved/1/use", {"act": "withdraw", "why": ""}).status_code == 422
    surgeon.post("/series/saved/1/use", {"act": "withdraw", "why": "one stem was mistyped"})
    listed, page = surgeon.get("/series/saved").text, surgeon.get("/series/saved/1").text
    assert "No series is saved yet" in listed and "1 withdrawn" in listed and "one stem was mistyped" in page
    assert "withdrawn" in head(surgeon.get("/series?side=left&series=1").text)
    assert "This series was withdrawn" in save(surgeon, "side=right&series=1", number="2", note="x").text
    save(surgeon, "side=right")
    assert "Another series has this name" in surgeon.post("/series/saved/1/use", {"act": "bring", "why": "x"}).text
    with staff.case.store.writing() as session:
        session.query(Series).filter(Series.id == 2).one().name = "Right ones"
    assert surgeon.post("/series/saved/1/use", {"act": "bring", "why": "it was right"}).status_code == 302
    assert "Withdraw it" in surgeon.get("/series/saved/1").text
    assert [each for each in actions(staff) if "with" in each or "back" in each] == [
        "series:withdrawn",
        "series:brought_back",
    ]


def test_the_list_has_pages_and_everybody_reads_it(staff: StaffCase, surgeon: Staff, nurse: Staff) -> None:
    assert "Set a series before looking" in surgeon.get("/series/saved").text
    for number in range(51):
        assert save(surgeon, f"years_from={1960 + number}", name=f"Series {number}").status_code == 302
    page = nurse.get("/series/saved").text
    assert page.count('scope="row"') == 50 and "1 to 50 of 51" in page and ">Series 50<" in page
    assert (
        "Set a series before looking" not in page and "<form" not in nurse.get("/series/saved/1").text.split("<main")[1]
    )
    assert nurse.get("/series/saved?from=50").text.count('scope="row"') == 1
    rows = list(csv.DictReader(io.StringIO(surgeon.get("/series/saved.csv").text)))
    assert [row["number"] for row in rows] == ["1"] * 51 and rows[0]["sentence"] == "years_from=1960"


def test_an_address_of_a_series_that_is_not_there_says_so(surgeon: Staff) -> None:
    assert "The saved series that the address names is not there" in surgeon.get("/series?series=8&version=1").text
    save(surgeon)
    assert "is not there" in surgeon.get("/series?side=left&series=1&version=9").text
    assert surgeon.get("/series/saved/1/9").status_code == 404


def test_words_are_chosen_on_the_page_for_saving_without_a_figure(surgeon: Staff) -> None:
    save(surgeon)
    page = surgeon.get("/series/save?side=left&series=1&end=exchange&open=cuff").text
    form = page.split('class="choosing"')[1].split("</form>")[0]
    assert 'action="/series/save"' in form and page.count('class="word"') == 16
    hidden = re.findall(r'type="hidden" name="(\w+)" value="([^"]*)"', form)
    assert hidden == [("side", "left"), ("end", "exchange"), ("series", "1")]
