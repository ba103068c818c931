"""From any number on the patient page to where it comes from, in two clicks, as a reader would go."""

import re
from collections.abc import Iterator
from datetime import timedelta

import pytest

from server.clinic.entries import ShoulderEntry
from server.models import Patient
from tests.staff.course_case import followed, page_of, revised, sheet
from tests.staff.staff_case import DECLINED, StaffCase
from tests.staff.tree import Node

# What a page says does not depend on the database; the forms, the list and signing in are tested on both.
pytestmark = pytest.mark.parametrize("database_url", ["sqlite"], indirect=True, scope="module")

# Digits that are no score, no change and no threshold: when, and how many people.
NO_SCORE = re.compile(r"n = \d+|year \d+|\d+ weeks|\d{1,2} [A-Z][a-z]+ \d{4}|\b(?:19|20)\d\d\b", re.IGNORECASE)
FOLDED = frozenset({"a", "details"})


@pytest.fixture
def patient_id(staff: StaffCase) -> int:
    """A long course with a missing item and a revision, and a second shoulder."""
    found = followed(
        staff, sheet(3, pain=8, own=0), sheet(9, pain=2), sheet(9) | {"sst@1/4": DECLINED}, sheet(10, pain=0)
    )
    revised(staff, found, sheet(2, pain=9, own=0), sheet(8, pain=1))
    return found


def number_places(page: Node) -> Iterator[Node]:
    """Where the page prints scores, changes and thresholds."""
    change = page.by_id("change")
    assert change is not None
    yield change
    yield from page.all("aside")
    for table in page.all("table", klass="forms"):
        yield from table.all("td", klass="number")
        yield from (each for each in table.all("td") if each.attributes.get("data-word") == "acceptable")


def test_every_printed_score_is_a_link(staff: StaffCase, patient_id: int) -> None:
    page = page_of(staff, f"/patients/{patient_id}")
    for place in number_places(page):
        unlinked = NO_SCORE.sub("", " ".join(" ".join(place.texts(without=FOLDED)).split()))
        assert not re.search(r"\d", unlinked), unlinked
    cells = [
        cell for table in page.all("table", klass="forms") for cell in table.all("td", klass="number") if cell.words
    ]
    assert len(cells) >= 15 and all(cell.links for cell in cells)


def test_every_point_of_the_chart_is_a_link_to_its_answers(staff: StaffCase, patient_id: int) -> None:
    page = page_of(staff, f"/patients/{patient_id}")
    charts = list(page.all("svg", klass="course"))
    assert len(charts) == 2  # one for wide windows, one for narrow ones
    for chart in charts:
        dots = len(list(chart.all(klass="dot")))
        linked = [each for each in chart.all("a") if list(each.all(klass="dot"))]
        assert dots == len(linked) > 10
        assert all(each.attributes["href"].startswith("/responses/") for each in linked)
        assert all(each.attributes["aria-label"].startswith("left") for each in linked)
        ends = list(chart.all("text", klass="end"))
        assert ends and all(any(end in each.all() for each in chart.all("a")) for end in ends if end.words[0].isdigit())


def first_clicks(page: Node) -> set[str]:
    found = {href for place in number_places(page) for href in place.links}
    return found | {href for chart in page.all("svg", klass="course") for href in chart.links}


def test_the_first_click_leads_to_the_score_and_the_second_to_its_source(staff: StaffCase, patient_id: int) -> None:
    page = page_of(staff, f"/patients/{patient_id}")
    pages: dict[str, Node] = {}

    def target(href: str, start: Node) -> Node:
        """The element that a link leads to, which must be there."""
        path, _, anchor = href.partition("#")
        if path and path not in pages:
            pages[path] = page_of(staff, path)
        found = (pages[path] if path else start).by_id(anchor)
        assert found is not None, href
        return found

    reached = set()
    for href in first_clicks(page):
        place = target(href, page)
        if href.startswith("/instruments/"):
            reached.add("row of the threshold" if "#threshold-" in href else "instrument")
            continue
        sources = [link for link in place.links if link.startswith("/instruments/")]
        assert sources, href
        for source in sources:
            target(source, place)
        reached.add("answers" if href.startswith("/responses/") else "arithmetic")
    assert reached == {"answers", "arithmetic", "row of the threshold", "instrument"}


def test_a_second_shoulder_keeps_its_own_links(staff: StaffCase) -> None:
    case = staff.case
    sides = [ShoulderEntry(side=side, surgery_planned_on=case.today + timedelta(days=10)) for side in ("left", "right")]
    patient_id = case.enrol(*sides)
    with case.store.reading() as session:
        shoulders = session.get_one(Patient, patient_id).shoulders
        timepoints = [each.operations[0].follow_ups[0].timepoints[0].id for each in shoulders]
    answers = [staff.answer(timepoint, sheet(4), on=case.today) for timepoint in timepoints]
    page = page_of(staff, f"/patients/{patient_id}")
    tables = list(page.all("table", klass="forms"))
    assert [f"/responses/{answer}#sst-total" in table.links for answer, table in zip(answers, tables, strict=True)] == [
        True,
        True,
    ]
    assert f"/responses/{answers[1]}#sst-total" not in tables[0].links
