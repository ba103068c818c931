"""What the patient page says of change: which scores are compared, by which threshold, and where nothing can be told.

The values of the shoulder test and of pain stand with their citations in instruments/sst/1 and instruments/pain/1.
"""

import pytest
from sqlalchemy import select

from server.clinic.entries import ShoulderEntry
from server.models import Operation
from tests.staff.course_case import add_part, followed, go_on, last_response, page_of, revised, sheet
from tests.staff.staff_case import DECLINED, StaffCase, years_ago
from tests.staff.tree import Node
from tests.staff.visited import open_timepoint

# What a page says does not depend on the database; the forms, the list and signing in are tested on both.
pytestmark = pytest.mark.parametrize("database_url", ["sqlite"], indirect=True, scope="module")


def change_of(staff: StaffCase, patient_id: int) -> Node:
    found = page_of(staff, f"/patients/{patient_id}").by_id("change")
    assert found is not None
    return found


def of_type(staff: StaffCase, implant: str) -> None:
    with staff.case.store.writing() as session:
        for operation in session.scalars(select(Operation)):
            operation.implant_type = implant


def states_of(change: Node) -> dict[str, str]:
    """What is said of the acceptable state, by what it rests on; of one shoulder."""
    listed = next(change.all("dl", klass="states"))
    return {name.words: value.words for name, value in zip(listed.all("dt"), listed.all("dd"), strict=True)}


def test_the_change_since_surgery_is_told_by_a_threshold_that_names_its_people(staff: StaffCase) -> None:
    change = change_of(staff, followed(staff, sheet(3), sheet(11))).words
    assert "Improved since before surgery: 3 to 11 , 8 points better , 89 % of the possible improvement ." in change
    assert (
        "Improved means a gain of 2.3 (n = 887, arthroplasty, hemiarthroplasty among them) or more that is also more than the "
        "measurement error, 2.8 (patients of a shoulder clinic). A loss is told in points." in change
    )


def test_the_change_since_the_time_before_stands_beside_it(staff: StaffCase) -> None:
    patient_id = followed(staff, sheet(3, pain=8), sheet(11, pain=2), sheet(10, pain=5), sheet(10, pain=6))
    change = change_of(staff, patient_id).words
    assert "Improved since before surgery: 3 to 10 , 7 points better" in change
    assert "Within measurement error since year 2: 10 to 10 , no change ." in change
    assert "Since before surgery: 8 to 6 , 2 points better , 25 % of the possible improvement ." in change
    assert "Since year 2: 5 to 6 , 1 point worse ." in change
    assert (
        "None was found by what people like these said after the same operation, so no word for the change." in change
    )
    of_type(staff, "anatomic_total")
    change = change_of(staff, patient_id).words
    assert "Improved since before surgery: 8 to 6 , 2 points better , 25 % of the possible improvement ." in change
    assert "a gain of 1.6 ± 0.3 (n = 466, arthroplasty, no hemiarthroplasty in it) or more. A loss is told in" in change


def test_a_later_change_is_held_to_measurement_error_only(staff: StaffCase) -> None:
    """Thresholds of what matters were found from before surgery on."""
    change = change_of(staff, followed(staff, sheet(3), sheet(9), sheet(6))).words
    assert "Beyond measurement error since year 1: 9 to 6 , 3 points worse ." in change
    without = change_of(staff, followed(staff, None, sheet(9, pain=2), sheet(6, pain=6))).words
    assert (
        "Measurement error: 2.8 (patients of a shoulder clinic); thresholds speak of the change since surgery, not of"
        in without
    )
    assert "Since year 1: 2 to 6 , 4 points worse ." in without


def test_just_before_a_revision_no_threshold_is_used(staff: StaffCase) -> None:
    patient_id = followed(staff, sheet(3), sheet(9))
    revised(staff, patient_id, sheet(2))
    change = change_of(staff, patient_id).words
    assert "before an operation no threshold is used" in change and "first year" not in change


def test_what_got_worse_is_told_in_points(staff: StaffCase) -> None:
    change = change_of(staff, followed(staff, sheet(6, pain=3), sheet(3, pain=7))).words
    assert "Beyond measurement error since before surgery: 6 to 3 , 3 points worse ." in change
    assert "Since before surgery: 3 to 7 , 4 points worse" in change


def test_without_a_threshold_there_is_a_change_but_no_word_for_it(staff: StaffCase) -> None:
    patient_id = followed(staff, sheet(3), sheet(11))
    last = last_response(staff, patient_id)
    for response_id, level in ((last - 1, 1), (last, 4)):
        add_part(staff, response_id, "satisfaction@1", {"1": level})
    change = change_of(staff, patient_id).words
    assert "Since before surgery: 1 to 4 , 3 points better , 75 % of the possible improvement ." in change
    assert "No published threshold was read, so no word for the change." in change


def test_a_score_too_high_to_gain_is_not_called_unchanged(staff: StaffCase) -> None:
    change = change_of(staff, followed(staff, sheet(11), sheet(12))).words
    assert "Too little room to improve since before surgery: 11 to 12 , 1 point better" in change
    assert "Only 1 point could be gained, less than counts as improved." in change
    assert "Unchanged since before surgery: 11" not in change


def test_room_for_what_matters_but_not_for_more_than_measurement_error_is_too_little(staff: StaffCase) -> None:
    """After an anatomic total arthroplasty 1.6 matters, and 2.8 is the measurement error."""
    patient_id = followed(staff, sheet(10), sheet(12))
    of_type(staff, "anatomic_total")
    change = change_of(staff, patient_id).words
    assert "Too little room to improve since before surgery: 10 to 12 , 2 points better , 100 %" in change
    assert "Only 2 points could be gained, less than counts as improved." in change
    assert "a gain of 1.6 (n = 368, anatomic total arthroplasty, as here) or more that is also more than the" in change


@pytest.mark.parametrize(
    ("pain", "said"),
    [(1, "Only 1 point could be gained, less than counts as improved."), (0, "From there nothing could be gained.")],
)
def test_where_less_is_better_little_room_is_no_high_score(staff: StaffCase, pain: int, said: str) -> None:
    patient_id = followed(staff, sheet(3, pain=pain), sheet(11, pain=0))
    of_type(staff, "anatomic_total")
    change = change_of(staff, patient_id).words
    assert said in change and "too high" not in change


def test_what_is_worse_from_little_room_is_said_to_be(staff: StaffCase) -> None:
    change = change_of(staff, followed(staff, sheet(11), sheet(3))).words
    assert (
        "Beyond measurement error since before surgery: 11 to 3 , 8 points worse . Only 1 point could be gained, less than"
        in change
    )


def test_limits_that_include_no_change_leave_a_scale_without_a_threshold(staff: StaffCase) -> None:
    """WOOS: 13.3, printed with -6.2 to 23.3."""
    patient_id = followed(staff, sheet(3), sheet(11))
    last = last_response(staff, patient_id)
    for response_id, value in ((last - 1, 80), (last, 10)):
        add_part(staff, response_id, "woos@1", {str(item): value for item in range(1, 20)})
    change = change_of(staff, patient_id).words
    assert "No published threshold that may be used for this shoulder was read, so no word for the change." in change


@pytest.mark.parametrize(
    ("line", "said"),
    [(1, "more than 99 % of the possible improvement"), (0, "100 % of the possible"), (99, "1 % of the possible")],
)
def test_all_of_the_possible_is_said_of_all_only(staff: StaffCase, line: int, said: str) -> None:
    """From 0 to 99.95, to 100 and to 1 percent of the WOOS: 19 lines of 100."""
    patient_id = followed(staff, sheet(3), sheet(11))
    last = last_response(staff, patient_id)
    rest = 99 if line == 99 else 0
    add_part(staff, last - 1, "woos@1", {str(item): 100 for item in range(1, 20)})
    add_part(staff, last, "woos@1", {str(item): rest for item in range(2, 20)} | {"1": line})
    assert said in change_of(staff, patient_id).words


def test_less_than_one_percent_is_not_none(staff: StaffCase) -> None:
    patient_id = followed(staff, sheet(3), sheet(11))
    last = last_response(staff, patient_id)
    add_part(staff, last - 1, "woos@1", {str(item): 100 for item in range(1, 20)})
    add_part(staff, last, "woos@1", {str(item): 100 for item in range(2, 20)} | {"1": 95})
    assert "less than 1 % of the possible improvement" in change_of(staff, patient_id).words


def test_the_percent_is_undefined_at_the_best_score_before(staff: StaffCase) -> None:
    change = change_of(staff, followed(staff, sheet(12), sheet(11))).words
    assert (
        "1 point worse , percent of the possible improvement: undefined, the score before was the best there is"
        in change
    )


def test_ceiling_and_floor_are_said(staff: StaffCase) -> None:
    change = change_of(staff, followed(staff, sheet(3), sheet(0, pain=0))).words
    assert "0 is the best score there is; no further improvement can show." in change
    assert "0 is the worst score there is; no further loss can show." in change


@pytest.mark.parametrize(("count", "word"), [(8, "no"), (9, "yes")])
def test_a_level_that_no_score_meets_names_the_first_that_reaches_it(staff: StaffCase, count: int, word: str) -> None:
    said = states_of(change_of(staff, followed(staff, None, sheet(count))))["Acceptable, by published levels"]
    assert (
        f"Shoulder test: {word} , {count} , year 1 level 8.4 (n = 326, arthroplasty, no hemiarthroplasty in it)" in said
    )
    assert "the first score that reaches it is 9" in said


def test_the_two_acceptable_states_are_never_mixed(staff: StaffCase) -> None:
    said = states_of(change_of(staff, followed(staff, None, sheet(12, own=0))))
    assert said["Acceptable, by published levels"].startswith("Shoulder test: yes")
    assert said["Acceptable, by the patient's own answer"].startswith("no , year 1 The two disagree")


def test_before_surgery_no_level_is_told_and_the_answer_is_a_description(staff: StaffCase) -> None:
    case = staff.case
    patient_id = case.enrol(ShoulderEntry(side="left", surgery_planned_on=case.today))
    staff.answer(open_timepoint(staff, patient_id, "baseline"), sheet(2, own=0), on=case.today)
    change = change_of(staff, patient_id)
    said = states_of(change)
    assert "Shoulder test: before surgery a level of a score says nothing" in said["Acceptable, by published levels"]
    assert said["Acceptable, by the patient's own answer"].startswith("no , before surgery; a description")
    assert "No answer since then yet." in change.words and "arithmetic" not in change.words


def test_before_the_first_year_no_level_is_told(staff: StaffCase) -> None:
    patient_id = followed(staff, sheet(2, pain=8))
    go_on(staff, patient_id, days=40)
    staff.answer(open_timepoint(staff, patient_id, "week-6"), {"pain@1/1": 1}, on=staff.case.today)
    said = states_of(change_of(staff, patient_id))["Acceptable, by published levels"]
    assert "Pain: not before one year after surgery" in said


def test_one_answer_tells_no_change(staff: StaffCase) -> None:
    change = change_of(staff, followed(staff, None, sheet(9)))
    assert "One answer so far, none from before." in change.words and "Improved" not in change.words


def test_without_an_answer_there_is_no_part_on_change(staff: StaffCase) -> None:
    assert page_of(staff, f"/patients/{staff.case.enrol()}").by_id("change") is None


def test_an_answer_without_a_score_leaves_the_last_score(staff: StaffCase) -> None:
    patient_id = followed(staff, sheet(3), sheet(9), sheet(9) | {"sst@1/4": DECLINED})
    page = page_of(staff, f"/patients/{patient_id}")
    change = page.by_id("change")
    assert change is not None and "3 to 9 , 6 points better" in change.words and "9 , year 1" in change.words
    row = next(row.words for row in next(page.all("table", klass="forms")).all("tr") if "Year 2" in row.words)
    assert "no score" in row


def test_a_question_that_was_declined_is_not_answered_for_the_patient(staff: StaffCase) -> None:
    patient_id = followed(staff, None, sheet(9, own=1), sheet(9, own=DECLINED))
    assert states_of(change_of(staff, patient_id))["Acceptable, by the patient's own answer"] == "not answered , year 2"


def test_each_shoulder_has_its_own_change(staff: StaffCase) -> None:
    case = staff.case
    sides = (
        ShoulderEntry(side="left", surgery_on=years_ago(case, 1)),
        ShoulderEntry(side="right", surgery_on=years_ago(case, 5)),
    )
    patient_id = case.enrol(*sides)
    staff.answer(open_timepoint(staff, patient_id, "year-1"), sheet(9), on=case.today)
    assert [each.words for each in change_of(staff, patient_id).all("h3")] == ["Left shoulder"]
    staff.answer(open_timepoint(staff, patient_id, "year-5"), sheet(4), on=case.today)
    change = change_of(staff, patient_id)
    assert [each.words for each in change.all("h3")] == ["Left shoulder", "Right shoulder"]
    ids = [each.attributes["id"] for each in change.all() if "id" in each.attributes]
    assert len(ids) == len(set(ids))


def test_after_a_revision_its_own_baseline_is_compared(staff: StaffCase) -> None:
    patient_id = followed(staff, sheet(3), sheet(9))
    revised(staff, patient_id, sheet(2), sheet(8))
    change = change_of(staff, patient_id).words
    assert "Beyond measurement error since before the revision: 2 to 8 , 6 points better" in change
    assert "3 to 8" not in change, "never one change across two operations"
    assert "year 1 after the revision" in change


def test_the_arithmetic_is_there_and_folded(staff: StaffCase) -> None:
    change = change_of(staff, followed(staff, sheet(3), sheet(11)))
    steps = change.by_id("change-left-sst")
    assert steps is not None and "gain: 11 - 3 = 8 (higher is better)" in steps.words
    assert "possible: from 3 to 12 = 9; 8 / 9 x 100 = 88.89 %" in steps.words
    folded = [each for each in change.all("details") if each.by_id("change-left-sst")]
    assert len(folded) == 2 and all("open" not in each.attributes for each in folded)  # the course's, and its own in it


def test_every_threshold_used_is_cited_once_with_the_rule_that_chose_it(staff: StaffCase) -> None:
    change = change_of(staff, followed(staff, sheet(3), sheet(11)))
    used = next(change.all("details", klass="used"))
    assert [each.words.split(":")[0] for each in used.all("li")] == [
        "Shoulder test, smallest change that matters",
        "Shoulder test, smallest change beyond measurement error",
        "Shoulder test, acceptable state",
        "Pain, acceptable state",
        "Own rating, acceptable state",
    ]
    assert "never of a difference of groups" in used.words and "the largest number of people" in used.words
    assert "J Shoulder Elbow Surg 2022;31(8):1640-1646" in used.words and "Anchor: satisfaction" in used.words


def test_an_instrument_that_no_plan_asks_has_its_row_too(staff: StaffCase) -> None:
    patient_id = followed(staff, None, sheet(9))
    full = {"1": 2} | {str(item): 3 for item in range(2, 12)}
    add_part(staff, last_response(staff, patient_id), "ases@1", full)
    heads = [each.words for each in next(change_of(staff, patient_id).all("tbody")).all("th")]
    assert heads[-1] == "ASES form, patient section 90.0 , year 1"


def test_an_instrument_whose_whole_score_cannot_be_had_before_surgery_is_compared_without_that_part(
    staff: StaffCase,
) -> None:
    """The UCLA score without satisfaction: 8 + 8 + 3 + 4 after, 4 + 2 + 3 + 3 before."""
    patient_id = followed(staff, sheet(3), sheet(11))
    last = last_response(staff, patient_id)
    add_part(staff, last - 1, "ucla@1", {"1": 4, "2": 2, "3": 90, "4": 3})
    add_part(staff, last, "ucla@1", {"1": 8, "2": 8, "3": 90, "4": 4, "5": 5})
    change = change_of(staff, patient_id).words
    assert "Since before surgery: 12 to 23 , 11 points better" in change
    assert "UCLA shoulder score: score without satisfaction 23" in change
    assert "No published threshold on this scale was read, so no word for the change." in change
    page = page_of(staff, f"/patients/{patient_id}").words
    assert "UCLA shoulder score 28" in page, "the last answer and the table of forms hold the whole score"


def test_a_loss_too_small_to_print_is_no_minus_zero_percent(staff: StaffCase) -> None:
    patient_id = followed(staff, sheet(3), sheet(11))
    last = last_response(staff, patient_id)
    for response_id, level in ((last - 1, 3), (last, 2)):
        add_part(staff, response_id, "satisfaction@1", {"1": level})
    change = change_of(staff, patient_id).words
    assert "Since before surgery: 3 to 2 , 1 point worse ." in change and "-" + "0 %" not in change


def test_within_the_first_year_a_change_is_told_without_a_verdict(staff: StaffCase) -> None:
    patient_id = followed(staff, sheet(3, pain=8))
    go_on(staff, patient_id, days=41)
    staff.answer(open_timepoint(staff, patient_id, "week-6"), {"pain@1/1": 2}, on=staff.case.today)
    change = change_of(staff, patient_id).words
    assert "Since before surgery: 8 to 2 , 6 points better , 75 % of the possible improvement ." in change
    assert "Within the first year no threshold is used, so no word for the change." in change
    assert "Improved since" not in change


def test_a_reverse_shoulder_is_judged_by_the_values_of_reverse_arthroplasty(staff: StaffCase) -> None:
    """J Shoulder Elbow Surg 2022;31(8):1640-1646: 3.7 after reverse arthroplasty, 2.3 over all types."""
    patient_id = followed(staff, sheet(3), sheet(6))
    assert "Improved since before surgery: 3 to 6" in change_of(staff, patient_id).words
    of_type(staff, "reverse")
    change = change_of(staff, patient_id).words
    assert "Unchanged since before surgery: 3 to 6" in change
    assert (
        "Improved means a gain of 3.7 (n = 80, reverse arthroplasty, as here) or more that is also more than the"
        in change
    )


def test_a_level_found_after_another_operation_is_no_level_here(staff: StaffCase) -> None:
    """The Constant score has one level, of subacromial pain."""
    patient_id = followed(staff, None, sheet(9))
    best = {"1": 0, "2": 2, "3": 0, "4": 0, "5": 10, "6": 180, "7": 180, "13": 10, "14": 12000}
    add_part(staff, last_response(staff, patient_id), "constant@1", best | {str(item): 1 for item in range(8, 13)})
    said = states_of(change_of(staff, patient_id))["Acceptable, by published levels"]
    assert "Constant-Murley score: no published level that may be used for this shoulder was read" in said
