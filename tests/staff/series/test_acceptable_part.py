"""The acceptable state on the page: both denominators in words, what is not drawn is told, and a table of every count."""

import re
from collections.abc import Iterator
from datetime import date
from typing import Any, cast

import pytest
from flask import g

from server.outcomes.series.followed import Followed, Point
from server.outcomes.series.sentence import Sentence
from server.staff.series.acceptable_part import COLUMNS, acceptable_part
from server.staff.series.part import foot_of
from server.words.language import Words
from tests.outcomes.series.followed_case import answered, later, line, point, shoulder
from tests.staff.series.part_case import asked_of
from tests.staff.staff_case import StaffCase

pytestmark = pytest.mark.parametrize("database_url", ["sqlite"], indirect=True, scope="module")
REVISED: dict[str, Any] = {"later": (later(date(2015, 12, 1)),)}


@pytest.fixture(autouse=True)
def request_of_staff(staff: StaffCase) -> Iterator[None]:
    """Words and links need a request, and nothing else here does."""
    with staff.app.test_request_context("/series"):
        yield


TELEPHONE = Sentence(mode=("telephone",))


def said_by(mode: str) -> Point:
    yes: dict[str, Any] = {"pass@1/acceptable": 1}
    return answered(1, mode=mode, **yes)


def said(yes: bool, rating: int = 90, **values: Any) -> Followed:
    scores: dict[str, Any] = {"pass@1/acceptable": int(yes), "sane@1/sane": rating}
    return shoulder(answered(1, **scores), **values)


def several(number: int, yes: bool, rating: int = 90) -> list[Followed]:
    return [said(yes, rating) for _each in range(number)]


def a_series() -> list[Followed]:
    revised = [shoulder(point(1), **REVISED) for _each in range(5)]
    return several(40, True) + several(10, False, 60) + revised + [shoulder(point(1)) for _each in range(5)]


def test_both_denominators_stand_in_the_sentence_and_the_plain_answers_after_it() -> None:
    part = acceptable_part(asked_of(a_series(), line()))
    product, plain, level = part.says
    # 55 of 60 are unrevised and 40 of 50 said yes: 0.733
    assert product.startswith("At year 1 it is 73 % (") and "of 60 alive" in product and "55 are unrevised" in product
    assert "times 40 yes of 50 unrevised who answered" in product
    assert plain.startswith("By the answers alone, whatever was revised: 40 of 50, 80 % (67 to 89)")
    assert "40 of 50 unrevised with a score reach it" in level
    assert (part.shoulders, part.people) == (55, 55) and part.failed == ()


def test_the_level_is_named_with_its_people_and_never_called_an_answer() -> None:
    part = acceptable_part(asked_of(a_series()))
    assert "Percent of normal at 86 or above, a published level and no answer" in part.lead
    (source,) = part.values["sources"]
    assert "level 85.7" in source and part.counts.startswith(
        "Level 85.7, found with other implants: Semin Arthroplasty"
    )
    assert "no hemiarthroplasty in it" in source and "other implants than 60 of these 60 shoulders" in source


def test_thin_and_too_few_are_told() -> None:
    years: dict[str, Any] = {"pass@1/acceptable": 1}
    many_years = [shoulder(answered(1, **years), answered(2, **years)) for _each in range(9)]
    part = acceptable_part(asked_of([*several(12, True), *many_years]))
    assert "Thin where the share rests on fewer than 40 unrevised who answered, from year 1." in part.care
    assert any(each.startswith("Not drawn, with fewer than 10 of them: years 2, 3, ") for each in part.care)


@pytest.mark.parametrize(
    ("shoulders", "why"),
    [
        ([], "The sentence means nobody"),
        ([shoulder(point(1), died=date(2015, 6, 1)) for _each in range(12)], "had died before it"),
        (several(2, True), "At most 2 said yes or no of an unrevised shoulder in any year"),
        ([said(True), *[shoulder(point(1), **REVISED) for _each in range(9)]], "At most 1 said yes or no of an unrevised"),
        ([*[said(True, implant_on=None) for _each in range(12)], said(True)], "Of at most 1 alive is it known in any year"),
        ([said(True, implant_on=None) for _each in range(12)], "Of nobody alive is it known whether the implant is unrevised"),
    ],
)  # fmt: skip
def test_what_cannot_be_told_is_said_and_not_drawn(shoulders: list[Followed], why: str) -> None:
    part = acceptable_part(asked_of(shoulders))
    assert len(part.says) == 1 and why in part.says[0]
    drawn = part.draw(820) if part.draw else ""
    assert 'stroke-width="2.3"' not in drawn and "<circle" not in drawn.replace('r="3.2"', "")
    assert part.failed == ()


def test_a_sentence_of_another_way_of_answering_has_no_answers_and_a_strip_that_says_so() -> None:
    part = acceptable_part(asked_of(a_series(), sentence=Sentence(mode=("paper",))))
    assert part.says == (
        "At most 0 said yes or no of an unrevised shoulder in any year. "
        "Under 10 no share is drawn: one person more or less would move it too far.",
    )
    assert part.draw is not None and "silent or never asked" not in part.draw(820)


def test_where_the_sentence_wants_some_answers_whoever_gave_others_is_not_called_silent() -> None:
    by_telephone = [shoulder(said_by("telephone")) for _ in range(18)]
    asked = asked_of([*by_telephone, *(shoulder(said_by("own_phone")) for _ in range(199))], sentence=TELEPHONE)
    part = acceptable_part(asked)
    assert (
        "year 1: 199 silent, never asked, or answered otherwise than the sentence wants, and 0 not known alive"
        in part.care[0]
    )
    assert "nobody knows" not in part.care[0] and "Forms answered as the sentence wants: 18 of" in foot_of(part, asked)


@pytest.mark.parametrize(
    ("sentence", "key"),
    [(Sentence(), "dotted: silent; empty"), (TELEPHONE, "full: answered so; dotted: silent, or otherwise; empty")],
)  # fmt: skip
def test_the_key_of_the_bars_calls_nobody_silent_who_answered_otherwise(sentence: Sentence, key: str) -> None:
    part = acceptable_part(asked_of([*a_series(), shoulder(said_by("telephone"))], sentence=sentence))
    assert part.draw is not None and key in " ".join(re.findall(r">([^<>]+)<", part.draw(820)))
    g.words = Words("staff", "es")
    spanish = acceptable_part(asked_of([*a_series(), shoulder(said_by("telephone"))], sentence=sentence)).draw
    assert spanish is not None and "…" not in f"{part.draw(820)}{spanish(820)}{spanish(321)}"


def test_the_revised_of_whom_nobody_knew_whether_they_lived_are_told_in_their_row() -> None:
    lost = shoulder(point(1), alive_on=date(2015, 12, 1), later=(later(date(2015, 12, 1)),))
    part = acceptable_part(asked_of([*a_series(), lost]))
    assert part.draw is not None and part.failed == ()
    drawn = " ".join(re.findall(r">([^<>]+)<", part.draw(820)))
    assert "not known alive (up to 1 of them revised before)" in drawn
    first = dict(zip(part.table.columns, part.table.rows[0], strict=True))
    assert (first["revised"], first["not_known_alive"], first["revised_not_known_alive"]) == (5, 1, 1)


def test_in_spanish_a_level_has_a_decimal_comma_and_the_file_a_point() -> None:
    g.words = Words("staff", "es")
    part = acceptable_part(asked_of(a_series()))
    assert "85,7" in part.counts and "85,7" in part.values["sources"][0]
    assert not re.search(r"\b85\.7", " ".join((part.lead, part.counts, *part.values["sources"], *part.says)))
    assert "85.7" in {str(row[part.table.columns.index("level")]) for row in part.table.rows}


def test_eras_tell_how_many_they_rest_on() -> None:
    before, yes = date(2009, 5, 1), cast(dict[str, Any], {"pass@1/acceptable": 1})
    early = [shoulder(answered(1, surgery_on=before, **yes), surgery_on=before) for _each in range(3)]
    part = acceptable_part(asked_of([*a_series(), *early]))
    (few, many) = part.values["eras"]
    assert few == ("2009", ["year 1: 3, too few"])
    assert many[0] == "2015" and many[1][0].startswith("year 1: 73 % (") and many[1][0].endswith(") of 50")


def test_the_table_has_every_year_and_the_level_in_rows_of_its_own() -> None:
    table = acceptable_part(asked_of(a_series())).table
    rows = [dict(zip(table.columns, row, strict=True)) for row in table.rows]
    assert table.columns == COLUMNS
    first, level = rows[0], next(row for row in rows if row["row_kind"] == "level")
    assert [first[name] for name in ("year", "yes", "no", "revised", "unanswered", "come")] == [1, 40, 10, 5, 5, 60]
    assert (first["implant_known_unrevised"], first["implant_known_revised"]) == (55, 5)
    assert round(float(str(first["share"])), 4) == 0.7333 and first["score"] is None
    assert (level["score"], level["level"], level["reached"], level["scored"]) == ("sane@1/sane", 85.7, 40, 50)
    assert level["yes"] is None and level["share"] is not None


def test_two_versions_of_the_question_and_ties_of_all_yes_are_no_surer_than_they_are() -> None:
    part = acceptable_part(asked_of(several(12, True)))
    assert part.says[0].startswith("At year 1 it is 100 % (76 to 100)")
