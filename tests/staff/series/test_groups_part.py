"""Groups side by side on the page: by which word, at which year, in words and as a file, and why there may be none."""

import re
from collections.abc import Iterator
from datetime import date
from typing import Any

import pytest
from flask import g
from sqlalchemy.orm import Session

from server.outcomes.series.flow import flow_of
from server.outcomes.series.followed import Followed
from server.outcomes.series.sentence import Sentence
from server.outcomes.series.strip import strip_of
from server.staff.series.asked import Asked
from server.staff.series.groups_part import groups_part
from server.staff.series.part import Part
from server.words.language import Words
from tests.outcomes.series.followed_case import answered, before_surgery, followings, line, shoulder
from tests.outcomes.series.test_groups import revised
from tests.staff.series.test_series_page import a_small_clinic
from tests.staff.staff_case import Staff, StaffCase

pytestmark = pytest.mark.parametrize("database_url", ["sqlite"], indirect=True, scope="module")

NO_TWO = "No two groups are compared here; what each has is told by itself, with its counts."


@pytest.fixture
def page(staff: StaffCase) -> Iterator[None]:
    with staff.app.test_request_context("/series"):
        yield


def part(shoulders: list[Followed], *others: Any, sentence: Sentence | None = None, **options: str) -> Part:
    found, said = followings(shoulders, *others), sentence or Sentence()
    flow = flow_of(found.record, said)
    strip = strip_of(found, flow.rows_at("meant"), said)
    return groups_part(Asked(said, options, (), {}, Session(), found.record, found, flow, strip))


def pairs(n: int, gain: float, **values: Any) -> list[Followed]:
    own: dict[str, Any] = {"pass@1/acceptable": 1}
    return [
        shoulder(before_surgery(sst=3 + place % 2), answered(5, sst=3 + gain + place % 3, **own), **values)
        for place in range(n)
    ]


def in_pain(level: int) -> dict[str, Any]:
    return {"pain@1/pain": level}


def two() -> list[Followed]:
    return pairs(40, 6, implant_type="reverse") + pairs(12, 4, implant_type="stemmed_hemi")


def rows(of: Part) -> list[dict[str, Any]]:
    return [dict(zip(of.table.columns, row, strict=True)) for row in of.table.rows]


@pytest.mark.usefixtures("page")
def test_an_era_is_named_by_the_years_of_the_operations_in_it() -> None:
    """The eras begin with 2015 and 2025, of which the second is not over."""
    shoulders = [*pairs(12, 6), *pairs(12, 4, surgery_on=date(2016, 5, 1)), *pairs(3, 4, surgery_on=date(2025, 5, 1))]
    found = part(shoulders, by="era")
    assert found.draw is not None
    assert re.findall(r">(20\d\d(?:–20\d\d)?): too few|>(20\d\d–20\d\d): ", found.draw(820))[:2] == [
        ("", "2015–2016"),
        ("2025", ""),
    ]


@pytest.mark.usefixtures("page")
def test_in_spanish_ticks_and_values_have_a_decimal_comma() -> None:
    g.words = Words("staff", "es")
    found = part(pairs(12, 1) + pairs(12, 1.5, implant_type="reverse"))
    assert found.draw is not None
    numbers = re.findall(r">([^<>]*\d[.,]\d[^<>]*)<", found.draw(820))
    assert len(numbers) > 3 and not [each for each in numbers if re.search(r"\d\.\d", each)]


@pytest.mark.usefixtures("page")
def test_two_groups_stand_with_their_counts_and_both_differences() -> None:
    found = part(two(), line(implant_type="reverse"))
    assert found.failed == () and found.draw is not None
    drawn = found.draw(820)
    assert (
        "Function, change to year 5" in drawn
        and "Simple Shoulder Test: 0–12" in drawn
        and "adjusted for the score before" in drawn
    )
    assert "; 40 pairs" in drawn and "; 12 pairs" in drawn and "; 12 and 40" in drawn and "; 40 of 40" in drawn
    assert "Before surgery, function: reverse 3.5; " in " ".join(found.says)
    by_kind = {(row["row_kind"], row["group"], row["outcome"]): row for row in rows(found)}
    reverse = by_kind["group", "reverse", "sst@1/total"]
    assert (reverse["n"], reverse["people"], reverse["mean_before"]) == (40, 40, 3.5)
    difference = by_kind["difference", "stemmed_hemi", "sst@1/total"]
    assert (difference["against"], difference["n"], difference["n_against"]) == ("reverse", 12, 40)
    assert ("adjusted_difference", "stemmed_hemi", "sst@1/total") in by_kind
    assert (
        by_kind["group", "reverse", "acceptable"]["events"] == 40
        and by_kind["group", "reverse", "revised"]["at_risk"] == 40
    )
    assert "had both begun alike" in found.says[0] and "Nobody was randomised" in found.lead
    assert (found.shoulders, found.people) == (52, 52)
    assert found.counts.startswith(
        "By implant type, at year 5; nobody was randomised, and each line has its own count."
    )
    assert found.counts.endswith(" Where no difference stands, groups are not compared.")


@pytest.mark.usefixtures("page")
def test_revised_are_compared_and_told_as_percentage_points() -> None:
    found = part(revised(12, 60, implant_type="reverse") + revised(10, 60, implant_type="stemmed_hemi"))
    assert (
        "is −3.3 (−17.2 to 10.5) percentage points. Compared are 60 with 60, of these diagnoses: osteoarthritis. "
        "That could well be chance." in " ".join(found.says)
    )
    few = part(revised(12, 60, implant_type="reverse") + revised(9, 60, implant_type="stemmed_hemi"))
    assert few.draw is not None and few.says[0] == NO_TWO and few.counts.endswith(" No two groups are compared.")
    assert (
        few.says[1].endswith("not compared: fewer than ten revised in one of them, of the diagnoses of both.")
        and len(few.says) == 2
    )


@pytest.mark.usefixtures("page")
def test_a_difference_says_which_way_is_better_whom_it_compares_and_what_may_be_chance() -> None:
    apart = pairs(11, 6, implant_type="reverse", diagnosis="acute_fracture")
    others = pairs(15, 9, implant_type="reverse", diagnosis="cuff_tear_arthropathy")
    said = part(two() + apart + others).says[0]
    assert "More is better. Compared are 12 with 40, of these diagnoses: " in said and said.count("diagnoses") == 1
    assert "arthropathy" not in said and "chance" not in said
    worse = [
        shoulder(before_surgery(**in_pain(7 - place % 3)), answered(5, **in_pain(1 + place % 4)), implant_type=kind)
        for kind in ("reverse", "stemmed_hemi")
        for place in range(12)
    ]
    assert "Less is better." in next(each for each in part(worse).says if each.startswith("Pain"))
    unlike = [
        shoulder(before_surgery(sst=before), answered(5, sst=8 + before / 2 + noise), implant_type=kind)
        for kind, befores in (("reverse", (1, 2, 3, 4)), ("stemmed_hemi", (5, 6, 7, 8)))
        for before in befores
        for noise in (-1, 0, 1)
    ]
    assert part(unlike).says[0].endswith("Only one of the two could well be chance.")


@pytest.mark.usefixtures("page")
def test_the_word_is_that_of_the_address_or_one_of_which_several_are_chosen() -> None:
    assert "By sex: change from before surgery to year 2" in part(two(), by="sex", window="2").lead
    assert (
        "By side: change from before surgery to year 5" in part(two(), sentence=Sentence(side=("left", "right"))).lead
    )
    surgeon = part(two(), by="surgeon", window="soon")
    assert (
        "By implant type: change from before surgery to year 5" in surgeon.lead
        and surgeon.values["unread"] == "surgeon"
    )
    chosen = [each.text for each in (*surgeon.values["by"], *surgeon.values["years"]) if each.chosen]
    assert chosen == ["implant type", "5"]


@pytest.mark.usefixtures("page")
def test_more_than_four_groups_are_refused_and_nobody_is_no_group() -> None:
    kinds = ("reverse", "stemmed_hemi", "anatomic_total", "resurfacing_hemi", "stemless_hemi")
    many = part([each for kind in kinds for each in pairs(10, 5, implant_type=kind)])
    assert many.draw is None and "There are 5 groups" in many.says[0] and many.table.rows == ()
    assert "there are no groups" in part([]).says[0]


@pytest.mark.usefixtures("page")
def test_one_group_is_said_in_one_sentence_and_what_is_not_compared_names_its_outcome() -> None:
    alone = part(pairs(12, 5, implant_type="reverse"))
    assert alone.says[0] == "There is one group, reverse, so there is nothing to set side by side."
    assert not any("Two differences" in each for each in alone.care) and NO_TWO not in alone.says
    both = part(revised(12, 60, implant_type="reverse") + revised(9, 60, implant_type="stemmed_hemi")).says
    assert both[1].startswith("Revised, stemmed hemiarthroplasty less reverse: not compared: ")


@pytest.mark.usefixtures("page")
def test_groups_of_two_draw_nothing_and_say_why() -> None:
    found = part(pairs(2, 5, implant_type="reverse") + pairs(1, 5, implant_type="stemmed_hemi"))
    assert found.draw is None and found.says == (
        NO_TWO,
        "Function is not drawn: fewer than ten pairs in every group (reverse 2; stemmed hemiarthroplasty 1).",
    )
    assert [row["reason"] for row in rows(found) if row["outcome"] == "sst@1/total"] == ["few", "few"]


@pytest.mark.usefixtures("page")
def test_fractures_and_the_untold_are_told() -> None:
    fractures = [
        shoulder(before_surgery(sst=3), answered(5, sst=9), implant_type="reverse", diagnosis="acute_fracture")
        for _ in range(2)
    ]
    care = " ".join(part([*two(), *fractures, shoulder(implant_type="not_recorded")]).care)
    assert "2 acute fractures have an answer at that year and no change" in care and "Of 1 shoulder this is not" in care
    assert "no ranking" in care


def test_the_page_has_them_with_links_to_choose(staff: StaffCase, nurse: Staff) -> None:
    a_small_clinic(staff, nurse)
    page = nurse.get("/series?by=surgeon&window=2").text
    assert "a surgeon is a stratum and never a group" in page
    assert (
        'href="/series?window=2&amp;by=sex#groups"' in page
        and "By implant type: change from before surgery to year 2" in page
    )
    assert nurse.get("/series/groups/table.csv?by=sex").text.startswith("row_kind,outcome,year,grouped_by,group")
