"""How long the implants last, on the page on a series: its endpoints, its words, its table, and what thin data get."""

import csv
import io
import re
from datetime import timedelta
from html import unescape

import pytest

from server.models import Component, KnownStatus, Operation, Shoulder
from server.outcomes.life_tables import install_life_table
from server.queries.clock import the_clinic
from tests.staff.series.test_series_page import enrol
from tests.staff.staff_case import Staff, StaffCase, years_ago

pytestmark = pytest.mark.parametrize("database_url", ["sqlite"], indirect=True, scope="module")


def section(page: str) -> str:
    return page.split('aria-labelledby="survival"')[1].split("</section>")[0]


def words_of(html: str) -> str:
    return unescape(re.sub(r"\s+", " ", re.sub(r"<[^>]+>", " ", html)))


def many(staff: StaffCase, number: int, *, revised: int = 0, broken: int = 0) -> None:
    """Operated six years ago, with the implant known to be there last year; some revised for infection, some for a fracture."""
    done_on, known_on = years_ago(staff.case, 6, 20), years_ago(staff.case, 1)
    why = {each: "acute_fracture" if each < broken else "osteoarthritis" for each in range(number)}
    patients = [enrol(staff, f"Ada{chr(97 + each)}", surgery_on=done_on, diagnosis=why[each]) for each in why]
    with staff.case.store.writing() as session:
        the_clinic(session).searched_years = str(done_on.year)
        for place, patient_id in enumerate(patients):
            shoulder = session.query(Shoulder).filter_by(patient_id=patient_id, side="left").one()
            session.add(
                KnownStatus(
                    patient_id=patient_id, known_on=known_on, source="register", side="left", implant="in_place", covers=True,
                    made_at=staff.case.now,
                )
            )  # fmt: skip
            if place < revised:
                revision = Operation(
                    shoulder=shoulder, kind="revision", position=2, surgery_on=done_on + timedelta(days=1100), reason="infection",
                    procedure="component_removed", implant_type="none", made_at=staff.case.now,
                )  # fmt: skip
                session.add(revision)
                session.flush()
                session.add(Component(put_in_id=shoulder.operations[0].id, role="head", made_at=staff.case.now))


def test_both_questions_stand_over_their_answers_and_every_watch_has_an_end(staff: StaffCase, nurse: Staff) -> None:
    many(staff, 24, revised=3, broken=2)
    said = words_of(section(nurse.get("/series").text))
    assert "Were nobody to die: how many would have been revised by each year?" in said.replace("  ", " ")
    assert "As it was, with deaths: how many were revised before they died?" in said
    assert "12.5 % revised at 5 years" in said
    assert "87.5 % still in place" in said
    assert "24 watched = 3 revised + 21 known to be in place within the last two years." in said
    assert "2 of them were operated on for an acute fracture and are counted with the others" in said
    assert "All are watched from surgery on." in said
    assert "n = 24 shoulders" in said
    assert "of 24 watched, of 24 meant. What counts: any revision. Limits log-log; nobody counts twice." in said
    assert " p = " not in said


def test_the_address_chooses_the_endpoint_and_the_reason(staff: StaffCase, nurse: Staff) -> None:
    many(staff, 13, revised=3)
    page = section(nurse.get("/series").text)
    links = {unescape(text): unescape(href) for href, text in re.findall(r'<a href="([^"]+)"[^>]*>([^<]+)</a>', page)}
    infection = section(nurse.get(links["infection 3"]).text)
    assert "would have been revised for infection by each year?" in words_of(infection)
    assert "13 watched = 3 revised for infection" in words_of(infection)
    reverse = words_of(section(nurse.get(links["conversion to a reverse"]).text))
    assert "0 % converted to a reverse at 5 years" in reverse
    assert "13 watched = 0 converted to a reverse + 3 revised otherwise + 10 known" in reverse
    assert "at most" in reverse and "exact Poisson limit" in reverse
    assert "no limits: fewer than 20 people" in reverse
    assert re.search(
        r'<a href="[^"]*" aria-current="true">conversion to a reverse',
        section(nurse.get(links["conversion to a reverse"]).text),
    )


def test_an_endpoint_that_is_none_is_said_and_any_revision_stands(staff: StaffCase, nurse: Staff) -> None:
    many(staff, 2)
    said = words_of(section(nurse.get("/series?end=luck").text))
    assert "The address asks for “luck”, which is nothing that can be counted here" in said
    assert "What counts: any revision." in said


def test_one_patient_has_no_curve_and_is_told_so(staff: StaffCase, nurse: Staff) -> None:
    many(staff, 1, revised=1)
    page = section(nurse.get("/series").text)
    assert "<svg" not in page
    assert "There were never ten implants watched at one time, so no curve is drawn" in words_of(page)
    assert "1 watched = 1 revised." in words_of(page)
    assert nurse.get("/series/survival/column.pdf").status_code == 404


def test_an_operation_of_which_nothing_is_known_since_is_not_watched(staff: StaffCase, nurse: Staff) -> None:
    enrol(staff, "Ada", surgery_on=years_ago(staff.case, 3))
    enrol(staff, "Bela", procedure="cuff_repair")
    said = words_of(section(nurse.get("/series").text))
    assert (
        "Not watched: 1 of which nothing is known since the watch began; 1 without an implant. "
        "Nothing is known where the implant’s state was last told by the day" in said
    )


def test_the_table_has_each_time_each_step_and_each_end(staff: StaffCase, nurse: Staff) -> None:
    many(staff, 13, revised=3)
    rows = list(csv.DictReader(io.StringIO(nurse.get("/series/survival/table.csv").text)))
    times = [row for row in rows if row["row_kind"] == "time"]
    assert [(row["years"], row["watched"], row["events"]) for row in times] == [
        ("0", "13", "0"), ("1", "13", "0"), ("2", "13", "0"), ("3", "13", "0"), ("4", "10", "3"), ("5", "10", "3"),
    ]  # fmt: skip
    assert {row["name"]: row["watched"] for row in rows if row["row_kind"] == "end"} == {
        "event": "3", "other_revision": "0", "died": "0", "in_place": "10", "known_earlier": "0", "said_operated": "0",
    }  # fmt: skip
    steps = [row for row in rows if row["row_kind"] == "step"]
    assert [row["share_if_nobody_died"] for row in steps] == ["0", "0.230769"]


def test_the_figure_prints_at_the_width_of_a_column(staff: StaffCase, nurse: Staff) -> None:
    many(staff, 10, revised=2)
    assert nurse.get("/series/survival/column.pdf").data.startswith(b"%PDF")


def test_without_a_life_table_the_page_says_how_to_install_one(staff: StaffCase, nurse: Staff) -> None:
    many(staff, 1)
    assert "yearmark life-table FILE.csv" in words_of(section(nurse.get("/series").text))


def test_deaths_stand_beside_those_that_the_life_table_expects(staff: StaffCase, nurse: Staff) -> None:
    many(staff, 10, revised=1)
    with staff.case.store.writing() as session:
        table = b"sex,age,rate\nfemale,0,0.5\nmale,0,0.5\n"
        install_life_table(session, table, "Tables of Harbourland, 2020", now=staff.case.now, by_id=None)
    said = words_of(section(nurse.get("/series").text))
    assert re.search(
        r"Elective operations: 0 of 10 people died in 6[01] person-years, and 30\.\d were to be expected\.", said
    )
    assert re.search(
        r"The ratio is 0 \(0 to 0\.12, exact Poisson limits\)\. Even the upper limit lies under a half", said
    )
    assert "By the life table: Tables of Harbourland, 2020." in said


def test_what_happened_before_the_watch_began_is_listed_by_role(staff: StaffCase, nurse: Staff) -> None:
    many(staff, 2, revised=1)
    with staff.case.store.writing() as session:
        the_clinic(session).searched_years = None
    page = section(nurse.get("/series").text)
    assert "1 shoulder that the curves leave out though something happened" in words_of(page)
    assert re.search(r'<a href="/patients/\d+">[^<]+</a>,\s+left shoulder: revised before the watch began', page)
    manager = section(staff.sign_in("data_manager").get("/series").text)
    assert "revised before the watch began" in manager
    assert "/patients/" not in manager
