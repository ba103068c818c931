"""The course on the series page: what it says of change, with what care it is read, and what stands in its table."""

from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import replace
from datetime import date
from typing import Any

import pytest

from server.outcomes.series.flow import flow_of
from server.outcomes.series.followed import Followed, Point
from server.outcomes.series.sentence import WORDS, Sentence, Span
from server.outcomes.series.strip import strip_of
from server.staff.series.asked import OPTIONS, Asked
from server.staff.series.course_part import COLUMNS, course_part
from server.staff.series.part import Part
from tests.outcomes.series.followed_case import answered, before_surgery, followings, later, point, shoulder
from tests.staff.series.part_case import asked_of
from tests.staff.staff_case import StaffCase

pytestmark = pytest.mark.parametrize("database_url", ["sqlite"], indirect=True, scope="module")
SCORES: dict[str, Any] = {"sst": 10, "pain@1/pain": 1, "sane@1/sane": 90}
BEFORE: dict[str, Any] = {"pain@1/pain": 7, "sane@1/sane": 30}


def scored(year: int, scores: dict[str, Any]) -> Point:
    return answered(year, **scores)


@contextmanager
def part_of(staff: StaffCase, *shoulders: Followed, **options: str) -> Iterator[Part]:
    """Inside, sentences may be asked for; nothing is read from the database."""
    read, sentence = followings(shoulders), Sentence()
    flow = flow_of(read.record, sentence)
    strip = strip_of(read, read.record.rows, sentence)
    with staff.app.test_request_context("/series"), staff.case.store.reading() as session:
        yield course_part(Asked(sentence, options, (), {}, session, read.record, read, flow, strip))


def many(count: int = 24, **values: Any) -> list[Followed]:
    """Answered before surgery and to year 5, at the best score of function from year 1 on."""
    return [
        shoulder(
            before_surgery(sst=2 + number % 4, **BEFORE),
            *(scored(year, {**SCORES, "sst": 12 if number % 2 else 9}) for year in range(1, 6)),
            **values,
        )
        for number in range(count)
    ]


def test_nobody_answered_is_said_and_nothing_is_drawn(staff: StaffCase) -> None:
    with part_of(staff, shoulder(point(1))) as part:
        assert part.draw is None and part.failed == ()
        assert part.says == (
            "Nobody whom the sentence means has answered a score after surgery while alive and not revised.",
        )
    with part_of(staff) as part:
        assert part.says[0].startswith("The sentence means nobody")
    with part_of(staff, shoulder(surgery_on=date(2026, 6, 1))) as part:
        assert part.says[0].startswith("The first window after surgery has closed for nobody yet")


def test_where_everybody_died_before_the_first_year_nothing_is_drawn(staff: StaffCase) -> None:
    with part_of(
        staff, *(shoulder(before_surgery(sst=3), point(1), died=date(2015, 9, 1)) for _each in range(30))
    ) as part:
        assert part.draw is None and (part.shoulders, part.failed) == (0, ())
        assert part.says[0].startswith("Nobody whom the sentence means has answered a score")


def test_one_person_has_counts_and_no_mean_that_is_drawn(staff: StaffCase) -> None:
    with part_of(staff, shoulder(answered(1, **SCORES))) as part:
        assert part.draw is not None and "fewer than 20 answered in" in part.draw(1152)
        assert (part.shoulders, part.people) == (1, 1)
        few, says = part.says
        assert few.startswith("Function, Pain and Own rating, year 1: 1 answer, too few for a mean")
        assert says.startswith(
            "Function, Pain and Own rating: no change from before surgery is told, since fewer than 20"
        )


def test_the_change_is_told_with_both_sizes_and_what_matters_with_its_source(staff: StaffCase) -> None:
    with part_of(staff, *many()) as part:
        says = " ".join(part.says)
    assert (
        "Function, before surgery and at year 5, in the 24 with both answers: from 3.5 to 10.5, a change of 7 (" in says
    )
    assert "Effect size 6.13 (" in says and "response mean" in says
    assert "Function, year 5: 24 of 24 gained" in says and "the smallest change that matters (n\u00a0=" in says
    assert "improved" not in says
    assert any(
        "J Shoulder Elbow Surg" in each and "Published values lie between" in each for each in part.values["gained"]
    )


def test_whoever_had_too_little_pain_to_lose_stood_too_near_the_best_score(staff: StaffCase) -> None:
    pain: dict[str, Any] = {"pain@1/pain": 0.5}
    with part_of(staff, *(shoulder(before_surgery(**pain), answered(1, **pain)) for _each in range(20))) as part:
        (gained,) = part.values["gained"]
    assert "20 stood too near the best score before to gain as much." in gained


def test_a_change_of_fewer_than_ten_people_is_told_by_its_counts_alone(staff: StaffCase) -> None:
    few = [shoulder(before_surgery(sst=2), answered(10, sst=9 + place % 2)) for place in range(4)]
    with part_of(staff, *many(implant_type="reverse"), *many(6, implant_type="stemmed_hemi"), *few) as part:
        lines = {(line.score, line.year): line for line in part.values["changes"]}
        rows = {row[:2]: dict(zip(COLUMNS, row, strict=True)) for row in part.table.rows}
    told, thin = lines["Function", 5], lines["Function", 10]
    assert told.n == 30 and told.effect_size.startswith("6.")
    assert (thin.n, thin.change) == (4, "fewer than ten people: counts only")
    assert (thin.before, thin.after, thin.effect_size, thin.srm) == ("–",) * 4
    thin_row = rows["sst@1/total", "year-10"]
    assert thin_row["pairs"] == 4 and {value for name, value in thin_row.items() if name in COLUMNS[14:]} == {None}
    gained = [each for each in part.values["gained"] if each.startswith("Function")]
    assert any("24 of 24 gained" in each for each in gained), gained
    assert any("for 6 the smallest change" in each and "how many gained it is not told" in each for each in gained)


def test_a_year_with_too_few_answers_is_said_so_directly_and_has_counts_alone(staff: StaffCase) -> None:
    few = [shoulder(answered(5, **SCORES)) for _each in range(8)]
    years_to_two = [shoulder(answered(1, **SCORES), answered(2, **SCORES)) for _each in range(20)]
    with part_of(staff, *years_to_two, *few) as part:
        rows = {row[:2]: dict(zip(COLUMNS, row, strict=True)) for row in part.table.rows}
        says = part.says
    assert says[0] == "Function, Pain and Own rating, year 5: 8 answers, too few for a mean to be told: it takes 20."
    year = rows["pain@1/pain", "year-5"]
    assert (year["observed"], year["people"], year["unscored"]) == (8, 8, 0)
    assert {year[name] for name in COLUMNS[4:12]} == {None}
    assert rows["pain@1/pain", "year-2"]["mean"] == 1


def test_where_all_change_by_the_same_no_limits_are_claimed(staff: StaffCase) -> None:
    with part_of(staff, *many()) as part:
        says = next(each for each in part.says if each.startswith("Pain, before"))
    assert "(no limits can be formed). Effect size none can be formed" in says


def test_thin_years_the_end_and_the_ceiling_are_said(staff: StaffCase) -> None:
    with part_of(staff, *many(22), *(shoulder(answered(6, **SCORES)) for _each in range(3))) as part:
        care = " ".join(part.care)
    assert "Function, Pain and Own rating: thin from year 1 on, where fewer than 40 answered." in care
    assert (
        "Year 6 and later are not drawn, since fewer than 20 answered: in year 6 Function 3, Pain 3 and Own rating 3."
        in care
    )
    assert "The best score there is, at year 5: Function 11 of 22. What is better" in care
    assert "The change of one group is not the effect of its operation" in care


def test_answers_behind_the_end_of_the_axis_are_counted(staff: StaffCase) -> None:
    young = [shoulder(surgery_on=date(2025, 1, 1)) for _each in range(9)]
    with part_of(staff, shoulder(*(scored(year, SCORES) for year in (1, 2, 3))), *young) as part:
        assert (
            "The axis ends with year 1, since later ones have come for fewer than ten: 2 answers of later years lie behind its end."
            in part.care
        )


def test_those_who_fell_silent_are_set_against_those_who_went_on(staff: StaffCase) -> None:
    silent = [shoulder(scored(1, {**SCORES, "sst": 4}), point(2)) for _each in range(10)]
    with part_of(staff, *many(20), *silent) as part:
        care = " ".join(part.care)
    assert (
        "10 who were silent at year 2 had stood at 4 in function the year before; 20 who went on answering at 10.5."
        in care
    )
    assert "Of those due, 30 of 30 answered at year 1 and 0 of 30 at year 11." in care


def test_fractures_have_no_before_and_after(staff: StaffCase) -> None:
    fractures = many(20, diagnosis="acute_fracture")
    with part_of(staff, *fractures) as part:
        assert part.draw is not None and "operation</text>" in part.draw(1152)
        assert part.says == () and part.care[-1].startswith("All were operated on for an acute fracture.")
        assert (part.values["changes"], part.values["thresholds"]) == ([], [])
    with part_of(staff, *many(20), fractures[0]) as part:
        assert any(each.startswith("1 shoulder was operated on for an acute fracture: it is") for each in part.care)


def test_what_is_recalled_other_versions_and_mixed_texts_are_said(staff: StaffCase) -> None:
    recalled = shoulder(before_surgery(sst=3)._replace(code="recalled"), answered(1, **SCORES))
    version = shoulder(scored(1, {"sst@2/total": 3}))
    licensed = shoulder(answered(1, texts={"licensed"}, **SCORES))
    with part_of(staff, *many(20), recalled, version, licensed) as part:
        care = " ".join(part.care)
    assert "Function: 1 recalled after surgery how it had been before. What is recalled is in no change" in care
    assert (
        "1 answer is to another version, sst@2." in care
        and "1 answer has no score of function and is in no mean of it." in care
    )
    assert "in descriptive text (answers: 101) and in the owners’ words (1)." in care


def test_function_is_what_was_answered_most_or_what_the_address_names(staff: StaffCase) -> None:
    oss = [shoulder(scored(1, {"oss@1/total": 40})) for _each in range(3)]
    with part_of(staff, *many(20), *oss) as part:
        assert [(each.definition.id, each.answers, each.chosen) for each in part.values["choices"]] == [
            ("sst", 100, True),
            ("oss", 3, False),
        ]
    with part_of(staff, *many(20), *oss, function="oss@1") as part:
        assert part.table.rows[0][:3] == ("oss@1/total", "year-1", 3)
    with part_of(staff, *many(20), *oss, function="never@1") as part:
        assert part.table.rows[0][0] == "sst@1/total"


def test_the_table_holds_what_is_drawn(staff: StaffCase) -> None:
    with part_of(staff, *many(20), shoulder(answered(1, **SCORES), later=(later(date(2018, 1, 1)),))) as part:
        rows = [dict(zip(COLUMNS, row, strict=True)) for row in part.table.rows]
    function = {row["time"]: row for row in rows if row["score"] == "sst@1/total"}
    assert (function["baseline"]["observed"], function["baseline"]["mean"]) == (20, 3.5)
    assert [function[f"year-{year}"]["observed"] for year in (1, 2, 5, 6)] == [21, 20, 20, 0]
    assert (function["year-5"]["pairs"], function["year-5"]["mean_change"], function["year-5"]["at_best_score"]) == (
        20,
        7,
        10,
    )
    assert function["year-3"]["pairs"] is None and len(rows) == 3 * 12


def test_no_choice_of_a_figure_is_named_as_a_word_of_the_sentence_is(staff: StaffCase) -> None:
    """The address holds both, and one would filter by the other."""
    assert set(OPTIONS) & {*WORDS, *Sentence(years=Span(1, 2), age=Span(1, 2)).address()} == set()


def test_where_no_covariance_of_the_model_converges_it_says_so_and_gives_none(staff: StaffCase) -> None:
    """Everybody says the same each year, so that there is nothing between a person's answers to estimate."""
    with part_of(staff, *many(20)) as part:
        assert part.values["model"] is None and part.values["can_be_modelled"]
    with part_of(staff, *many(20), mixed="yes") as part:
        model = part.values["model"]
    assert model.lines == () and len(model.said) == 3
    assert model.said[0].startswith(
        "Function: no model is given, since none converged: random intercept and slope, which"
    )


def test_where_the_sentence_wants_some_answers_nobody_is_said_to_have_fallen_silent(staff: StaffCase) -> None:
    """Half answer year 2 on paper: they did not fall silent."""
    people = [*many(12), *(turned_to_paper(each) for each in many(12))]
    with staff.app.test_request_context("/series"):
        every, some = (
            " ".join(course_part(asked_of(people, sentence=Sentence(mode=mode))).care) for mode in ((), ("own_phone",))
        )
    assert "24 of 24 answered at year 1" in every
    assert "24 of 24 answered as the sentence wants at year 1" in some and "were silent" not in some


def turned_to_paper(each: Followed) -> Followed:
    points = {code: turned(found) if code == "year-2" else found for code, found in each.points.items()}
    return replace(each, points=points)


def turned(found: Point) -> Point:
    assert found.answer is not None
    return found._replace(answer=found.answer._replace(mode="paper"))


def test_many_words_stand_below_the_figure_and_few_beside_it(staff: StaffCase) -> None:
    with part_of(staff, *many()) as part:
        assert not part.beside and replace(part, says=part.says[:1]).beside
        assert part.key == part.says[0] and replace(part, says=()).key == part.lead
