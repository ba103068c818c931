"""Reading a follow-up plan: what is understood, and how what is not understood is refused."""

from collections.abc import Callable
from datetime import date
from typing import Any

import pytest

from scoring.data_reader import DataProblem
from server.schedule.plan import AfterSurgery, BeforeSurgery, Part
from server.schedule.plan_parsing import parse_plan
from tests.schedule.cast import plan_data, standard

Change = Callable[[dict[str, Any]], object]


def test_the_standard_plan_has_a_baseline_six_weeks_and_every_year_to_the_sixtieth() -> None:
    plan = standard()
    assert plan.name == "standard@1"
    assert isinstance(plan.before, BeforeSurgery)
    assert plan.before.early_over_days == 90
    assert [entry.code for entry in plan.after] == ["week-6", *(f"year-{k}" for k in range(1, 61))]
    assert plan.phone_call


@pytest.mark.parametrize(
    ("code", "opens", "closes"),
    [("week-6", 28, 63), ("year-1", 305, 425), ("year-2", 640, 850)],
)
def test_early_windows_lie_on_the_same_days_after_any_surgery(code: str, opens: int, closes: int) -> None:
    entry = standard().entry(code)
    assert isinstance(entry, AfterSurgery)
    for surgery_on in (date(2023, 3, 1), date(2024, 2, 29), date(2024, 1, 1)):
        window = entry.window(surgery_on)
        assert ((window.opens_on - surgery_on).days, (window.closes_on - surgery_on).days) == (opens, closes)


@pytest.mark.parametrize(("year", "reach"), [(3, 90), (10, 90), (11, 180), (60, 180)])
def test_later_windows_lie_around_the_anniversary(year: int, reach: int) -> None:
    entry = standard().entry(f"year-{year}")
    assert isinstance(entry, AfterSurgery)
    window = entry.window(date(1999, 5, 17))
    assert window.anchor_on == window.due_on == date(1999 + year, 5, 17)
    assert (window.closes_on - window.anchor_on).days == (window.anchor_on - window.opens_on).days == reach


def test_a_title_carries_the_year_it_stands_for() -> None:
    assert dict(standard().entry("year-7").title)["en"] == "7 years after surgery"


def test_a_code_that_the_plan_does_not_have_is_a_key_error() -> None:
    with pytest.raises(KeyError):
        standard().entry("year-61")


def test_inviting_defaults_to_the_opening_day_and_a_range_of_years_may_be_given_by_its_ends() -> None:
    data = plan_data()
    data["timepoints"] = [
        {"code": "year-3", "anchor": "years", "from_year": 3, "to_year": 5, "opens": -30, "closes": 30, "minutes": 3,
         "parts": [{"instrument": "since@1", "items": ["1"]}]},
    ]  # fmt: skip
    plan = parse_plan(data)
    assert plan.before is None
    assert [entry.code for entry in plan.after] == ["year-3", "year-4", "year-5"]
    assert all(entry.invites == entry.opens for entry in plan.after)
    assert plan.parts_used() == (Part("since@1", ("1",)),)


def point(data: dict[str, Any], code: str) -> dict[str, Any]:
    found: dict[str, Any] = next(each for each in data["timepoints"] if each["code"] == code)
    return found


REFUSED: list[tuple[str, Change, str, str]] = [
    ("an unknown key", lambda d: d.update(colour="red"), "colour", "not understood"),
    ("an unknown key of a timepoint", lambda d: point(d, "week-6").update(grace=3), "timepoints[1] grace", "not understood"),
    ("a key of another anchor", lambda d: point(d, "baseline").update(closes=3), "timepoints[0] closes", "not understood"),
    ("a missing id", lambda d: d.pop("id"), "id", "missing"),
    ("an id in capitals", lambda d: d.update(id="Standard"), "id", "form"),
    ("a version that is a number", lambda d: d.update(version=1), "version", "a text"),
    ("an empty title", lambda d: d.update(title=""), "title", "form"),
    ("no timepoints", lambda d: d.update(timepoints=[]), "timepoints", "a list"),
    ("a timepoint that is a text", lambda d: d.update(timepoints=["baseline"]), "timepoints[0]", "an object"),
    ("an unknown anchor", lambda d: point(d, "week-6").update(anchor="weeks"), "timepoints[1] anchor", "none of"),
    ("no minutes", lambda d: point(d, "week-6").update(minutes=0), "timepoints[1] minutes", "whole number"),
    ("true for a number", lambda d: point(d, "week-6").update(minutes=True), "timepoints[1] minutes", "whole number"),
    ("half a day", lambda d: point(d, "week-6").update(opens=28.5), "timepoints[1] opens", "whole number"),
    ("no due day", lambda d: point(d, "week-6").pop("due"), "timepoints[1] due", "missing"),
    ("a mixture of days", lambda d: point(d, "year-1").update(opens=-60), "timepoints[2] opens_day", "mixed"),
    ("a window without an end", lambda d: point(d, "year-1").pop("closes_day"), "timepoints[2] closes_day", "missing"),
    ("a year twice", lambda d: point(d, "year-5").update(years=[5, 9]), "timepoints", "twice"),
    ("year 0", lambda d: point(d, "year-5").update(years=[0]), "timepoints[5] years[0]", "whole number"),
    ("years and a range", lambda d: point(d, "year-5").update(to_year=9), "timepoints[5] years", "beside"),
    ("the code of another year", lambda d: point(d, "year-5").update(years=[10, 5]), "timepoints[5] code", "year-10"),
    ("a part without version", lambda d: point(d, "week-6").update(parts=[{"instrument": "sst"}]),
     "timepoints[1] parts[0] instrument", "form"),
    ("an instrument twice", lambda d: point(d, "week-6")["parts"].append({"instrument": "pain@1"}),
     "timepoints[1] parts", "twice"),
    ("a code that is no timepoint", lambda d: point(d, "week-6").update(code="visit-2"), "timepoints[1] code", "week-6"),
    ("the code of another anchor", lambda d: point(d, "week-6").update(code="year-7"), "timepoints[1] code", "week-6"),
    ("an item twice", lambda d: point(d, "week-6").update(parts=[{"instrument": "since@1", "items": ["1", "1"]}]),
     "timepoints[1] parts[0] items", "twice"),
    ("no items", lambda d: point(d, "week-6").update(parts=[{"instrument": "since@1", "items": []}]),
     "timepoints[1] parts[0] items", "a list"),
    ("an item for the telephone without instrument", lambda d: d.update(phone_call=["1"]), "phone_call[0]", "form"),
    ("a second baseline", lambda d: d["timepoints"].append(point(d, "baseline")),
     "timepoints", "more than one"),
    ("a window that opens before surgery", lambda d: point(d, "week-6").update(opens=-1), "timepoints week-6", "order"),
    ("a window due after it closed", lambda d: point(d, "week-6").update(due=70), "timepoints week-6", "order"),
    ("windows that overlap", lambda d: point(d, "year-1").update(closes_day=640),
     "timepoints year-1 and year-2", "overlap"),
    ("windows that overlap over a leap year only", lambda d: point(d, "year-2").update(closes_day=1005),
     "timepoints year-2 and year-3", "overlap"),
]  # fmt: skip


@pytest.mark.parametrize(
    ("change", "place", "reason"), [case[1:] for case in REFUSED], ids=[case[0] for case in REFUSED]
)
def test_a_plan_is_refused_with_the_place_and_the_reason(change: Change, place: str, reason: str) -> None:
    data = plan_data()
    change(data)
    with pytest.raises(DataProblem) as caught:
        parse_plan(data)
    assert caught.value.place.removeprefix("plan ") == place
    assert reason in caught.value.reason


@pytest.mark.parametrize("data", [None, [], "plan", 3])
def test_what_is_no_object_is_no_plan(data: object) -> None:
    with pytest.raises(DataProblem, match="must be an object"):
        parse_plan(data)
