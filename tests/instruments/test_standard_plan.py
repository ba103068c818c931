"""The standard follow-up plan asks what its design says. Its days are tested with server.schedule."""

from collections.abc import Iterator
from typing import Any

from scoring.definition import Item
from scoring.library import load_library

PLAN = dict(load_library().plans["standard@1"])
FULL_YEARS = [1, 2, *range(5, 61, 5)]


def entry(code: str) -> dict[str, Any]:
    found: dict[str, Any] = next(each for each in PLAN["timepoints"] if each["code"] == code)
    return found


def items(timepoint: dict[str, Any]) -> Iterator[Item]:
    for part in timepoint["parts"]:
        definition = load_library().instrument(part["instrument"])
        yield from (item for item in definition.items if item.item in part.get("items", definition.by_item))


def asked_of_everybody(timepoint: dict[str, Any]) -> int:
    return sum(item.asked_if is None for item in items(timepoint))


def order(timepoint: dict[str, Any]) -> list[str]:
    return [part["instrument"].partition("@")[0] for part in timepoint["parts"]]


def yearly() -> Iterator[tuple[int, dict[str, Any]]]:
    for timepoint in PLAN["timepoints"]:
        yield from ((year, timepoint) for year in timepoint.get("years", []))


def test_before_surgery_asks_fifteen_items_in_four_minutes() -> None:
    baseline = entry("baseline")
    assert order(baseline) == ["pass", "pain", "sane", "sst"]
    assert asked_of_everybody(baseline) == 15
    assert (baseline["minutes"], baseline["early_over_days"]) == (4, 90)


def test_six_weeks_asks_seven_items_in_two_minutes_and_no_function_score() -> None:
    week_6 = entry("week-6")
    assert order(week_6) == ["early", "pain", "pass"]
    assert asked_of_everybody(week_6) == 7
    assert sum(bool(item.warning) for item in items(week_6)) == 4
    assert [week_6[each] for each in ("opens", "invites", "due", "closes", "minutes")] == [28, 35, 42, 63, 2]


def test_the_years_of_the_full_form_ask_twenty_one_items_in_five_minutes() -> None:
    full = [timepoint for year, timepoint in yearly() if year in FULL_YEARS]
    asked = [(order(each), asked_of_everybody(each), each["minutes"]) for each in full]
    assert asked == [(["since", "pass", "pain", "sane", "sst"], 21, 5)] * len(full) != []


def test_the_other_years_leave_out_recovery_work_and_sport() -> None:
    others = [timepoint for year, timepoint in yearly() if year not in FULL_YEARS]
    asked = [(order(each), asked_of_everybody(each), each["minutes"]) for each in others]
    assert asked == [(["since", "pass", "pain", "sane", "sst"], 18, 3)] * len(others) != []
    assert not any({"3", "4", "5"} & set(each["parts"][0]["items"]) for each in others)


def test_every_year_to_sixty_is_covered_once() -> None:
    assert sorted(year for year, _ in yearly()) == list(range(1, 61))


def test_windows_are_those_of_the_design() -> None:
    assert (entry("year-1")["opens_day"], entry("year-1")["closes_day"]) == (305, 425)
    assert (entry("year-2")["opens_day"], entry("year-2")["closes_day"]) == (640, 850)
    for year, timepoint in yearly():
        if year > 2:
            days = 90 if year <= 10 else 180
            assert (timepoint["opens"], timepoint["closes"]) == (-days, days)


def test_a_telephone_call_asks_operated_again_acceptable_state_and_pain() -> None:
    assert PLAN["phone_call"] == ["since@1/1", "pass@1/1", "pain@1/1"]


def test_version_2_is_version_1_without_its_ladder() -> None:
    second = dict(load_library().plans["standard@2"])
    assert second | {"ladder": PLAN["ladder"]} == PLAN | {"version": "2"}


def test_the_ladder_is_an_invitation_and_a_reminder_every_week_for_three_weeks() -> None:
    assert [(step["step"], step["after_invite_days"], step["channel"]) for step in PLAN["ladder"]] == [
        ("invitation", 0, "email"),
        ("reminder-1", 7, "email"),
        ("reminder-2", 14, "email"),
        ("reminder-3", 21, "email"),
    ]


def test_titles_are_there_in_both_languages() -> None:
    assert len(PLAN["timepoints"]) >= 4
    for timepoint in PLAN["timepoints"]:
        assert set(timepoint["title"]) == {"en", "es"}
        several = len(timepoint.get("years", [])) > 1
        assert all(("{years}" in title) or not several for title in timepoint["title"].values())


def test_version_3_asks_for_events_and_warnings_apart_in_the_same_windows() -> None:
    second, third = (load_library().plans[f"standard@{version}"] for version in (2, 3))
    own = ("minutes", "parts")
    windows = [
        [{k: v for k, v in each.items() if k not in own} for each in plan["timepoints"]] for plan in (second, third)
    ]
    assert windows[0] == windows[1] != []
    sizes = {each["code"]: (asked_of_everybody(each), each["minutes"]) for each in third["timepoints"]}
    full, short = (25, 5), (22, 4)
    assert sizes == {
        "baseline": (15, 4), "week-6": (9, 2), "year-1": full, "year-2": full, "year-3": short, "year-5": full,
        "year-11": short, "year-15": full,
    }  # fmt: skip


def test_an_event_warns_only_when_it_was_in_the_last_two_weeks() -> None:
    since = load_library().instrument("since@2")
    events = {"7", "8", "9", "10"}
    assert {item.item for item in since.items if item.warning} == {f"{event}a" for event in events}
    asked = {item.item: (item.asked_if.item, item.asked_if.codes) for item in since.items if item.asked_if}
    assert {event: asked[f"{event}a"] for event in events} == {event: (event, frozenset({1})) for event in events}
    assert not any(item.emergency for item in since.items)


def test_where_a_milder_and_a_graver_sign_both_fit_the_graver_stands_first_and_a_hint_says_to_choose_it() -> None:
    library = load_library()
    graded = [item for item in library.instrument("early@2").items if len(item.warning) > 1]
    assert [item.item for item in graded] == ["3", "4"]
    codes = {item["item"]: item.get("codes") for item in library.definition_document("early@2")["items"]}
    assert (codes["3"], codes["4"]) == ([2, 1, 0], [2, 1, 0])
    words = {
        "en": "If both fit, choose the upper one.",
        "es": "Si le pasan las dos cosas, elija la primera de la lista.",
    }
    for language, hint in words.items():
        items = library.texts("early@2")[language]["items"]
        assert [items[item]["hint"] for item in ("3", "4")] == [hint, hint]


def test_the_emergency_number_comes_first_for_chest_breath_blood_shaking_and_a_cold_hand() -> None:
    early = load_library().instrument("early@2")
    assert {(item.item, code) for item in early.items for code in item.emergency} == {("6", 1), ("3", 2), ("4", 2)}
    assert {(item.item, code) for item in early.items for code in item.warning - item.emergency} == {
        ("3", 1), ("4", 1), ("2", 1), ("7", 1), ("5", 1),
    }  # fmt: skip
