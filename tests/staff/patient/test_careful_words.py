"""What is not said: no change after an acute fracture or across a revision, and where two measures of a state disagree it is said."""

import pytest
from sqlalchemy import select

from scoring.acceptable import State, by_question
from server.models import Operation, Timepoint
from server.schedule.status import Reason, Standing, Status
from server.staff.patient.acceptable_state import Level, OwnAnswer, disagreement
from server.staff.patient.change_table import FRACTURE
from server.staff.patient.patient_record import Step
from tests.staff.course_case import followed, revised, sheet
from tests.staff.patient.test_change import change_of, states_of
from tests.staff.staff_case import StaffCase

ON_SQLITE = pytest.mark.parametrize("database_url", ["sqlite"], indirect=True, scope="module")


def level(acceptable: bool | None) -> Level:
    return Level(None, State("threshold", acceptable))


@pytest.mark.parametrize(
    ("own", "levels", "said"),
    [
        (1, {"Pain": (7, level(False))}, "the patient says yes, the published level of Pain says no"),
        (0, {"Pain": (7, level(True))}, "the patient says no, the published level of Pain says yes"),
        (0, {"Pain": (7, level(True)), "SST": (7, level(True))}, "level of Pain and SST says yes"),
        (1, {"Pain": (7, level(True))}, ""),
        (1, {"Pain": (6, level(False))}, ""),
        (1, {"Pain": (7, level(None))}, ""),
        (None, {"Pain": (7, level(False))}, ""),
    ],
)
def test_own_answer_and_level_of_one_form_are_held_against_each_other(
    own: int | None, levels: dict[str, tuple[int, Level]], said: str
) -> None:
    found = disagreement(OwnAnswer(by_question(own, year=1), "year 1", "/", 7), levels)
    assert said in found and bool(said) is bool(found)


def test_before_surgery_an_answer_is_no_outcome_and_disagrees_with_nothing() -> None:
    own = OwnAnswer(by_question(0, year=None), "before surgery", "/", 7)
    assert disagreement(own, {"Pain": (7, level(True))}) == ""


@ON_SQLITE
def test_the_page_says_where_they_disagree_and_gives_the_range_of_what_was_published(staff: StaffCase) -> None:
    change = change_of(staff, followed(staff, sheet(3, pain=8, own=0), sheet(11, pain=1, own=0)))
    own = states_of(change)["Acceptable, by the patient's own answer"]
    assert "The two disagree: the patient says no, the published level of" in own
    assert "the patient's own answer stands" in own
    assert "Published values lie between 1.5 and 3.7" in change.words


@ON_SQLITE
def test_after_an_acute_fracture_nothing_is_told_from_before(staff: StaffCase) -> None:
    patient_id = followed(staff, sheet(3), sheet(11))
    with staff.case.store.writing() as session:
        session.scalars(select(Operation)).one().diagnosis = "acute_fracture"
    change = change_of(staff, patient_id).words
    assert FRACTURE.text in change and "Improved" not in change and "since before surgery:" not in change


@ON_SQLITE
def test_after_a_revision_there_is_its_own_baseline_only_and_no_threshold(staff: StaffCase) -> None:
    patient_id = followed(staff, sheet(3, pain=8), sheet(11, pain=2))
    revised(staff, patient_id, sheet(2, pain=9), sheet(12, pain=0))
    change = change_of(staff, patient_id)
    assert "Beyond measurement error since before the revision: 2 to 12 , 10 points better" in change.words
    assert "first operation" not in change.words and "since year 1:" not in change.words
    assert "Improved" not in change.words and "as here" not in change.words
    assert "no level that was found after revisions was read" in change.words


def test_a_form_after_the_second_stage_of_an_exchange_is_said_to_be_after_the_revision() -> None:
    said = {}
    for kind in ("index", "revision", "second_stage"):
        upcoming = Standing(Status.UPCOMING, Reason.NOT_YET_OPEN, None)
        said[kind] = Step(Timepoint(code="year-2", attempt=1), Operation(kind=kind), upcoming, None, ()).after_revision
    assert said == {"index": False, "revision": True, "second_stage": True}
