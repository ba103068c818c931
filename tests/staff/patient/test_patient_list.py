"""The list of patients: what a row says, what it can be narrowed by, in which order it stands, and that a long one stays a page."""

from collections.abc import Iterator
from contextlib import contextmanager
from datetime import date, timedelta
from urllib.parse import parse_qs, urlsplit

import pytest
from sqlalchemy import Engine, event, select

from server.clinic.entries import ShoulderEntry
from server.models import Operation, Patient, Shoulder, Timepoint
from server.staff.patient.patient_list import PAGE
from tests.staff.staff_case import Staff, StaffCase, years_ago
from tests.staff.tree import Node, read_tree
from tests.staff.visited import open_timepoint

# What a page says does not depend on the database; the forms, the list and signing in are tested on both.
pytestmark = pytest.mark.parametrize("database_url", ["sqlite"], indirect=True, scope="module")


@pytest.fixture
def people(staff: StaffCase) -> dict[str, int]:
    """Ada: left reverse, right resurfacing; Bela: left resurfacing, of late; Cleo: an operation to come; Dora: died."""
    case, enrol = staff.case, staff.case.enrol
    reverse = ShoulderEntry(
        side="left", surgery_on=years_ago(case, 5), implant_type="reverse", diagnosis="cuff_tear_arthropathy"
    )
    resurfaced = ShoulderEntry(
        side="right",
        surgery_on=years_ago(case, 2, days=60),
        implant_type="resurfacing_hemi",
        diagnosis="osteoarthritis",
    )
    late = ShoulderEntry(
        side="left", surgery_on=years_ago(case, 1, days=30), implant_type="resurfacing_hemi", diagnosis="osteoarthritis"
    )
    planned = ShoulderEntry(side="right", surgery_planned_on=case.today + timedelta(days=20))
    found = {
        "Ada": enrol(reverse, resurfaced, first_name="Ada", last_name="Zimmer"),
        "Bela": enrol(late, first_name="Bela", last_name="Yarrow"),
        "Cleo": enrol(planned, first_name="Cleo", last_name="Xander"),
        "Dora": enrol(first_name="Dora", last_name="Wilde"),
    }
    staff.answer(open_timepoint(staff, found["Bela"], "year-1"), {"sst@1/7": 0}, on=case.today)
    with case.store.writing() as session:
        session.get_one(Patient, found["Dora"]).died_on = case.today
        session.get_one(Timepoint, open_timepoint(staff, found["Ada"], "year-2")).due_on = case.today - timedelta(
            days=1
        )
    return found


def listed(nurse: Staff, **asked: str) -> list[str]:
    """First names in the order of the list."""
    page = read_tree(nurse.get("/patients", query_string=asked).text)
    return [row.words.split()[0] for row in page.all("span", klass="name")]


def row_of(nurse: Staff, name: str) -> Node:
    page = read_tree(nurse.get("/patients").text)
    return next(row for row in page.all("li", klass="people") if name in row.words)


def test_a_row_names_the_implant_the_last_answer_and_what_is_due(nurse: Staff, people: dict[str, int]) -> None:
    bela, cleo = row_of(nurse, "Bela"), row_of(nurse, "Cleo")
    assert "Left humeral resurfacing 16 May 2025 answered 15 Jun 2026 year 1 next 16 May 2027 year 2" in bela.words
    assert "Right implant not recorded planned 5 Jul 2026 nothing answered yet" in cleo.words
    assert "nothing answered yet to be answered by 14 Jun 2026 overdue year 2" in row_of(nurse, "Ada").words


@pytest.mark.parametrize(
    "asked, names",
    [
        ({"side": "left", "implant": "resurfacing_hemi"}, ["Bela"]),
        ({"side": "right", "implant": "resurfacing_hemi"}, ["Ada"]),
        ({"side": "right", "implant": "reverse"}, []),
        ({"diagnosis": "osteoarthritis"}, ["Bela", "Ada"]),
        ({"state": "overdue"}, ["Ada"]),
        ({"state": "overdue", "side": "left"}, []),
        ({"state": "planned"}, ["Cleo"]),
        ({"state": "left"}, ["Dora"]),
        ({"state": "lost"}, []),
        ({"implant": "resurfacing_hemi", "sort": "-newest"}, ["Ada", "Bela"]),
        ({"q": "a", "implant": "resurfacing_hemi"}, ["Bela", "Ada"]),
    ],
)
def test_what_narrows_is_so_of_one_shoulder(
    nurse: Staff, people: dict[str, int], asked: dict[str, str], names: list[str]
) -> None:
    assert listed(nurse, **asked) == names


def test_only_what_is_in_the_shoulder_now_counts_as_its_implant(
    nurse: Staff, staff: StaffCase, people: dict[str, int]
) -> None:
    with staff.case.store.writing() as session:
        shoulder = session.scalars(select(Shoulder.id).where(Shoulder.patient_id == people["Bela"])).one()
        revision = Operation(
            shoulder_id=shoulder,
            position=2,
            kind="revision",
            surgery_on=staff.case.today,
            implant_type="reverse",
            made_at=staff.case.now,
        )
        session.add(revision)
    assert listed(nurse, side="left", implant="resurfacing_hemi") == []
    assert listed(nurse, side="left", implant="reverse") == ["Bela", "Ada"]
    assert listed(nurse, state="revised") == ["Bela"]


@pytest.mark.parametrize(
    "sort, first, last",
    [
        ("newest", "Dora", "Ada"),
        ("-newest", "Ada", "Dora"),
        ("name", "Dora", "Ada"),
        ("-name", "Ada", "Dora"),
        ("answered", "Bela", "Ada"),
        ("due", "Ada", "Bela"),
        ("operated", "Dora", "Cleo"),
        ("-operated", "Ada", "Cleo"),
    ],
)
def test_the_list_is_sorted_either_way_and_what_never_was_stands_last(
    nurse: Staff, people: dict[str, int], sort: str, first: str, last: str
) -> None:
    names = listed(nurse, sort=sort)
    assert (names[0], names[-1], len(names)) == (first, last, 4)


def test_the_order_is_changed_by_links_that_keep_what_is_chosen(nurse: Staff, people: dict[str, int]) -> None:
    page = read_tree(nurse.get("/patients?implant=resurfacing_hemi&sort=due").text)
    (order,) = page.all("ul", klass="filters")
    links = {each.words.split()[0]: parse_qs(urlsplit(each.attributes["href"]).query) for each in order.all("a")}
    assert links["Name"] == {"implant": ["resurfacing_hemi"], "sort": ["name"]}
    assert links["Next"] == {"implant": ["resurfacing_hemi"], "sort": ["-due"]}
    assert [each.words for each in order.all("a") if each.attributes.get("aria-current")] == [
        "Next due ↑ , the other way round"
    ]


def test_a_word_that_is_not_offered_narrows_nothing(nurse: Staff, people: dict[str, int]) -> None:
    assert listed(nurse, side="both", implant="gold", diagnosis="'", state="", sort="height") == listed(nurse)


def test_where_nobody_fits_the_page_says_why_and_leads_back(nurse: Staff, people: dict[str, int]) -> None:
    page = nurse.get("/patients?side=right&implant=reverse").text
    assert "No people found" in page and "one and the same shoulder" in page and "Show all" in page


@contextmanager
def counting() -> Iterator[list[str]]:
    statements: list[str] = []

    def note(_connection: object, _cursor: object, statement: str, *_further: object) -> None:
        statements.append(statement)

    event.listen(Engine, "before_cursor_execute", note)
    yield statements
    event.remove(Engine, "before_cursor_execute", note)


@pytest.mark.parametrize("asked", ["", "?sort=name", "?sort=due&state=waits", "?q=arden"])
def test_a_long_list_is_shown_a_page_at_a_time_by_as_many_queries_as_a_short_one(
    nurse: Staff, staff: StaffCase, people: dict[str, int], asked: str
) -> None:
    for _ in range(2):
        staff.case.enrol()
    with counting() as few:
        nurse.get(f"/patients{asked}")
    for number in range(PAGE):
        staff.case.enrol(first_name=f"Nr{number}")
    with counting() as many:
        page = nurse.get(f"/patients{asked}").text
    assert page.count("data-row") == PAGE and "Next</a>" in page
    assert len(many) == len(few) > 3


def test_the_list_leads_to_who_carries_a_component(nurse: Staff, people: dict[str, int]) -> None:
    links = [each.attributes.get("href") for each in read_tree(nurse.get("/patients").text).all("a")]
    assert people and "/components" in links
    assert nurse.get("/components").status_code == 200


def test_the_implant_that_is_in_and_its_day_are_told_as_exactly_as_known_here_and_on_the_patients_page(
    staff: StaffCase, nurse: Staff
) -> None:
    first = ShoulderEntry(side="left", surgery_on=date(2025, 3, 10), implant_type="anatomic_total")
    patient_id = staff.case.enrol(first, first_name="Gwen", last_name="Umber")
    with staff.case.store.writing() as session:
        shoulder_id = session.scalars(select(Shoulder.id).where(Shoulder.patient_id == patient_id)).one()
        made = {"made_at": staff.case.now}
        again = {"kind": "revision", "surgery_on": date(2025, 1, 1), "surgery_precision": "year", **made}
        session.add(Operation(shoulder_id=shoulder_id, position=2, implant_type="reverse", **again))
        early = {"kind": "earlier", "surgery_on": date(2009, 5, 1), "surgery_precision": "month", **made}
        session.add(Operation(shoulder_id=shoulder_id, position=3, **early))
        patient = session.get_one(Patient, patient_id)
        patient.died_on, patient.died_precision = date(2026, 2, 1), "month"
    row = row_of(nurse, "Gwen").words
    assert "Left reverse 2025 " in row and "died Feb 2026" in row
    assert "reverse, 2025" in " ".join(read_tree(nurse.get(f"/patients/{patient_id}").text).words.split())
