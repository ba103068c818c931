"""Where a plan asks another instrument, that one is drawn, listed and told, and no empty place is kept for those it does not ask."""

import re
from dataclasses import replace
from datetime import date

import pytest
from sqlalchemy import delete

from scoring.library import load_library
from server.models import Operation, Response, Score, Shoulder, Timepoint
from server.schedule.status import Reason, Standing, Status
from server.staff.patient.patient_record import Side, Step
from server.staff.patient.score_series import tracked_instruments
from tests.staff.course_case import add_part, last_response, page_of, sheet
from tests.staff.course_case import followed as followed_patient
from tests.staff.staff_case import DECLINED, StaffCase

ON_SQLITE = pytest.mark.parametrize("database_url", ["sqlite"], indirect=True, scope="module")
TITLE = "Oxford Shoulder Score"


def asked_oss_only(staff: StaffCase) -> int:
    """Before surgery, after a year and after two: 12, 36 and 30 of 48."""
    patient_id = followed_patient(staff, sheet(3), sheet(9), sheet(9))
    with staff.case.store.writing() as session:
        session.execute(delete(Score))
    last = last_response(staff, patient_id)
    for response_id, code in ((last - 2, 1), (last - 1, 3), (last, 3)):
        answers = {str(item): code for item in range(1, 13)}
        if response_id == last:
            answers |= {"1": 1, "2": 1, "3": 1}
        add_part(staff, response_id, "oss@1", answers)
    return patient_id


@ON_SQLITE
def test_its_course_is_drawn(staff: StaffCase) -> None:
    wide = next(page_of(staff, f"/patients/{asked_oss_only(staff)}").all("svg", klass="course"))
    assert " ".join(each.words for each in wide.all("text", klass="panel")) == TITLE
    dots = [each.words for each in wide.all("circle", klass="dot")]
    assert [re.match(r"left ([\d.]+): ", each)[1] for each in dots] == ["12.0", "36.0", "30.0"]  # type: ignore[index]


@ON_SQLITE
def test_it_has_a_column_of_the_table_of_forms(staff: StaffCase) -> None:
    page = page_of(staff, f"/patients/{asked_oss_only(staff)}")
    table = next(page.all("table", klass="forms"))
    assert [each.words for each in next(table.all("thead")).all("th")] == ["Form", "Status", TITLE, "Acceptable"]
    rows = [each.words for each in next(table.all("tbody")).all("tr")]
    assert ["30" in rows[0], "36" in rows[1], "12" in rows[-1]] == [True, True, True]


@ON_SQLITE
def test_it_is_what_the_page_says(staff: StaffCase) -> None:
    words = page_of(staff, f"/patients/{asked_oss_only(staff)}").words
    assert f"Last answer, year 2 (15 June 2028): {TITLE} 30.0 ." in words
    assert (
        f"{TITLE} since before surgery: 12.0 to 30.0 . 6.0 points less than at year 1 : within measurement error ( 6 )."
        in words
    )
    assert "houlder test" not in words


@ON_SQLITE
def test_a_standard_instrument_without_a_score_gives_way_to_one_that_has_one(staff: StaffCase) -> None:
    declined = {f"sst@1/{item}": DECLINED for item in range(1, 13)}
    patient_id = followed_patient(staff, sheet(3, pain=8) | declined, sheet(9, pain=2) | declined)
    page = page_of(staff, f"/patients/{patient_id}")
    assert "Pain since before surgery: 8 to 2" in page.words
    wide = next(page.all("svg", klass="course"))
    assert "Shoulder test" not in [each.words for each in wide.all("text", klass="panel")]
    assert "no score" in next(page.all("table", klass="forms")).words


def test_versions_of_an_instrument_are_followed_apart_and_never_compared() -> None:
    shipped = load_library()
    second = replace(shipped.instrument("sst@1"), version="2")
    library = replace(shipped, definitions={**shipped.definitions, "sst@2": second})
    steps = tuple(step_with("sst", version, value) for version, value in (("1", 3.0), ("2", 75.0)))
    side = Side(Shoulder(side="left"), steps)
    newest, oldest = tracked_instruments([side], library)
    assert (newest.title, oldest.title) == ("Shoulder test, version 2", "Shoulder test, version 1")
    assert (newest.heading, oldest.in_a_sentence) == ("SST, version 2", "shoulder test, version 1")
    assert [[(score := each.score(step)) and score.value for step in steps] for each in (newest, oldest)] == [
        [None, 75.0],
        [3.0, None],
    ]
    (only,) = tracked_instruments([Side(Shoulder(side="left"), steps[:1])], library)
    assert only.title == "Shoulder test"


def step_with(instrument: str, version: str, value: float) -> Step:
    score = Score(instrument=instrument, instrument_version=version, scale="total", value=value)
    response = Response(scores=[score])
    answered = Standing(Status.ANSWERED, Reason.IN_WINDOW, date(2026, 1, 1))
    return Step(Timepoint(code="year-1"), Operation(kind="index"), answered, response, ())
