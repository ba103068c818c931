"""Two shoulders of one person on the page: which pair of types, what it says of chance, and why there may be nothing to draw."""

from collections.abc import Iterator
from typing import Any

import pytest
from sqlalchemy.orm import Session

from server.outcomes.series.flow import flow_of
from server.outcomes.series.followed import Followed
from server.outcomes.series.preference import NO_DIFFERENCE, Told, both_shoulders, preference_of
from server.outcomes.series.sentence import Sentence
from server.outcomes.series.strip import strip_of
from server.staff.series.asked import Asked
from server.staff.series.part import Part
from server.staff.series.preference_part import COLUMNS, preference_part, table_rows
from server.staff.series.preference_words import care, counts, failed_sums, figure_of, says
from tests.outcomes.series.followed_case import TODAY, followings, shoulder
from tests.outcomes.series.test_preference import ANSWER_ON, person
from tests.staff.series.test_series_page import a_small_clinic
from tests.staff.staff_case import Staff, StaffCase

pytestmark = pytest.mark.parametrize("database_url", ["sqlite"], indirect=True, scope="module")


@pytest.fixture
def page(staff: StaffCase) -> Iterator[None]:
    with staff.app.test_request_context("/series"):
        yield


def part(people: list[list[Followed]], session: Session, **options: str) -> Part:
    """Of people who are in no database, so that none of them has answered the question."""
    found, said = followings([each for two in people for each in two]), Sentence()
    flow = flow_of(found.record, said)
    strip = strip_of(found, flow.rows_at("meant"), said)
    return preference_part(Asked(said, options, (), {}, session, found.record, found, flow, strip))


def told(prefer: dict[str | None, int]) -> dict[int, Told]:
    answers = [prefers for prefers, count in prefer.items() for _ in range(count)]
    return {number: Told(ANSWER_ON, prefers) for number, prefers in enumerate(answers, 1)}


def words_of(prefer: dict[str | None, int], more: int = 0, **values: Any) -> tuple[str, str, str, str]:
    """What is said, what to read with care, the foot and the drawing, of so many people with these answers and `more` without."""
    answers = told(prefer)
    people = [each for number in range(1, len(answers) + more + 1) for each in person(number, **values)]
    found = preference_of(both_shoulders(people), answers, Sentence(), TODAY)
    (pair,) = found.pairs
    assert failed_sums(found) == []
    figure = figure_of(pair, "Which?")
    drawn = " ".join(
        [*(f"{each.count} {each.words}" for each in figure.columns), figure.ruler.words if figure.ruler else "no ruler"]
    )
    return " ".join(says(pair)), " ".join(care(found, pair)), counts(pair), drawn


@pytest.mark.usefixtures("page")
def test_counts_share_and_p_stand_beside_each_other_and_chance_is_written_out() -> None:
    said, with_care, foot, drawn = words_of({"left": 6, "right": 11, NO_DIFFERENCE: 5, None: 2}, more=15)
    assert said.startswith("More prefer the side with reverse: 11 against 6. That could well be chance.")
    assert "Own rating with reverse less that with humeral resurfacing, within the person: −10" in said
    assert drawn == (
        "6 prefer the one with humeral resurfacing 5 see no difference 11 prefer the one with reverse 2 were asked and left it open "
        "Of the 17 with a preference, 11 the one with reverse: 65 % (38 to 86), exact p = 0.33"
    )
    assert "11 of 17 prefer the shoulder that was operated on later" in with_care
    assert "Years from operation to answer, in the median: humeral resurfacing 9, reverse 6." in with_care
    assert "Of 39 people with both shoulders operated on here, 39 carry two types." in with_care
    assert "Preference told by 22 of 24 asked, of 39 people with these types." in foot


@pytest.mark.usefixtures("page")
def test_a_split_that_is_rare_by_chance_is_not_called_chance() -> None:
    said, _care, _foot, drawn = words_of({"left": 1, "right": 15})
    assert "Were both equally liked, so uneven a split would be rare." in said and "chance" not in said
    assert "94 % (70 to 100), exact p < 0.001" in drawn


@pytest.mark.usefixtures("page")
def test_ties_at_zero_and_few_have_no_share() -> None:
    even, _care, _foot, drawn = words_of({"left": 3, "right": 3})
    assert even.startswith(
        "As many prefer the one type as the other: 3 each. Of fewer than 10 with a preference no share is given"
        ", and no test: too few to tell."
    )
    nine, _care, _foot, _drawn = words_of({"left": 9})
    assert "9 against 0" in nine and "too few to tell" in nine and "chance" not in nine
    assert "no ruler" in drawn
    nobody, _care, foot, _drawn = words_of({NO_DIFFERENCE: 2})
    assert nobody.startswith("Nobody with these two types has told a preference yet.")
    assert "Preference told by 2 of 2 asked, of 2 people" in foot


def rows_of(prefer: dict[str | None, int], more: int = 0) -> list[dict[str, Any]]:
    answers = told(prefer)
    people = [each for number in range(1, len(answers) + more + 1) for each in person(number)]
    (pair,) = preference_of(both_shoulders(people), answers, Sentence(), TODAY).pairs
    return [dict(zip(COLUMNS, row, strict=True)) for row in table_rows(pair)]


@pytest.mark.usefixtures("page")
def test_the_table_has_a_row_for_each_line_of_the_figure_from_ten_on_and_none_of_fewer() -> None:
    nine, ten = rows_of({"left": 4, "right": 5}, more=5), rows_of({"left": 4, "right": 5, NO_DIFFERENCE: 1}, more=5)
    assert [row["row_kind"] for row in nine].count("line") == 0
    lines = [
        (row["answer"], row["people"], row["first_rating"], row["second_rating"])
        for row in ten
        if row["row_kind"] == "line"
    ]
    assert [line[0] for line in lines] == [NO_DIFFERENCE] + ["first"] * 4 + ["second"] * 5
    assert {line[1:] for line in lines} == {(1, 80, 70)}
    order = {row["answer"]: row["people"] for row in ten if row["row_kind"] == "order"}
    assert order == {"one_was_later": 9, "prefers_the_later": 5}


def test_nobody_and_one_person_draw_nothing_and_say_why(staff: StaffCase) -> None:
    with staff.app.test_request_context("/series"), staff.case.store.reading() as session:
        empty = part([[shoulder()]], session)
        same = part([person(1, ("reverse", "reverse"))], session)
        one = part([person(1)], session)
    assert [each.draw for each in (empty, same, one)] == [None] * 3
    assert empty.says == ("Nobody whom the sentence means has both shoulders operated on here.",)
    assert "nobody carries two types: 1 has one type on both sides." in same.says[0]
    assert one.says[0].startswith("Only one person has these two types")


def test_the_pair_of_types_is_that_of_the_address_or_the_most_frequent(staff: StaffCase) -> None:
    people = [
        person(1),
        person(2),
        person(3, ("stemmed_hemi", "reverse")),
        person(4, ("stemmed_hemi", "reverse")),
        person(5),
    ]
    with staff.app.test_request_context("/series"), staff.case.store.reading() as session:
        usual, other, unread = (
            part(people, session, **({"pair": pair} if pair else {})) for pair in ("", "stemmed_hemi.reverse", "x.y")
        )
    assert [each.people for each in (usual, other, unread)] == [3, 2, 3]
    assert [(each.values["unread"], [choice.chosen for choice in each.values["pairs"]]) for each in (usual, other, unread)] == [
        ("", [True, False]), ("", [False, True]), ("x.y", [True, False]),
    ]  # fmt: skip
    answers = [(row[1], row[3], row[4]) for row in usual.table.rows if row[0] == "answer"]
    assert ("resurfacing_hemi", "unasked", 3) in answers and ("stemmed_hemi", "unasked", 2) in answers
    assert {row[0] for row in usual.table.rows} == {"answer", "order"}
    assert usual.draw is None and usual.says == ("Nobody with these two types has told a preference yet.",)


def test_the_page_has_the_question_and_its_words(staff: StaffCase, nurse: Staff) -> None:
    a_small_clinic(staff, nurse)
    page = nurse.get("/series?pair=a.b")
    assert page.status_code == 200
    assert "With one of each, which shoulder do people prefer?" in page.text
    assert "Nobody whom the sentence means has both shoulders operated on here." in page.text
