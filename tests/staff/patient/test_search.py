"""Finding a person: by a part of a name without accents, by number, by year of birth."""

from datetime import date

import pytest

from tests.staff.staff_case import Staff, StaffCase

# What a page says does not depend on the database; the forms, the list and signing in are tested on both.
pytestmark = pytest.mark.parametrize("database_url", ["sqlite"], indirect=True, scope="module")


@pytest.fixture
def people(staff: StaffCase) -> dict[str, int]:
    enrol = staff.case.enrol
    return {
        "Núria": enrol(first_name="Núria", last_name="Peñalver-Sol", birth_on=date(1961, 5, 2)),
        "Bram": enrol(first_name="Bram", last_name="Solis", birth_on=date(1948, 1, 9)),
    }


@pytest.mark.parametrize("asked", ["nuria", "PEÑALVER", "penalversol", "sol 1961", "Y-0001", "y0001"])
def test_one_hit_opens_the_page(nurse: Staff, people: dict[str, int], asked: str) -> None:
    answer = nurse.get("/patients", query_string={"q": asked})
    assert (answer.status_code, answer.location) == (302, f"/patients/{people['Núria']}")


def test_several_hits_are_listed_by_last_name(nurse: Staff, people: dict[str, int]) -> None:
    page = nurse.get("/patients?q=sol").text
    assert "Two people found" in page and page.index("Peñalver-Sol") < page.index("Solis")


def test_no_hit_says_what_can_be_typed(nurse: Staff, people: dict[str, int]) -> None:
    page = nurse.get("/patients?q=zebedee").text
    assert "No people found" in page and "year of birth" in page


def test_the_first_run_offers_to_enrol(nurse: Staff) -> None:
    assert "Enrol the first patient" in nurse.get("/patients").text


@pytest.mark.parametrize("asked", ["%", "_", "%%", "n_ria", "Sol%", "50%", "*", "-", "'", "- ."])
def test_a_sign_is_looked_for_as_it_stands_and_never_stands_for_others(
    nurse: Staff, people: dict[str, int], asked: str
) -> None:
    page = nurse.get("/patients", query_string={"q": asked})
    assert page.status_code == 200 and "No people found" in page.text


def test_a_sign_in_a_name_is_found(nurse: Staff, staff: StaffCase, people: dict[str, int]) -> None:
    odd = staff.case.enrol(first_name="Kim", last_name="A_B%")
    assert nurse.get("/patients", query_string={"q": "a_b%"}).location == f"/patients/{odd}"
    oneill = staff.case.enrol(first_name="Rosa", last_name="O’Neill")
    assert nurse.get("/patients", query_string={"q": "o'neill"}).location == f"/patients/{oneill}"
