"""The close follow-up plan: the standard one, and what is asked in between to see how long recovery takes."""

from collections.abc import Iterator

import pytest

from scoring.definition import Item
from scoring.library import load_library

PLAN, STANDARD = (dict(load_library().plans[name]) for name in ("close@1", "standard@3"))
ENTRIES = {each["code"]: each for each in PLAN["timepoints"]}
OF_STANDARD = {each["code"]: each for each in STANDARD["timepoints"]}
MONTHS = ("month-3", "month-6")


def instruments(code: str) -> list[str]:
    return [part["instrument"] for part in ENTRIES[code]["parts"]]


def items(code: str) -> Iterator[Item]:
    for part in ENTRIES[code]["parts"]:
        definition = load_library().instrument(part["instrument"])
        yield from (item for item in definition.items if item.item in part.get("items", definition.by_item))


def test_it_adds_month_3_and_month_6_to_the_standard_plan_and_changes_none_of_its_windows() -> None:
    assert [code for code in ENTRIES if code not in OF_STANDARD] == list(MONTHS)
    assert list(ENTRIES) == ["baseline", "week-6", *MONTHS, *list(OF_STANDARD)[2:]]
    own = ("minutes", "parts")
    kept = [{k: v for k, v in ENTRIES[code].items() if k not in own} for code in OF_STANDARD]
    assert kept == [{k: v for k, v in each.items() if k not in own} for each in STANDARD["timepoints"]]
    assert PLAN["phone_call"] == STANDARD["phone_call"]


def test_month_3_lies_on_days_75_to_120_and_month_6_on_days_150_to_215() -> None:
    days = [[ENTRIES[code][each] for each in ("opens", "invites", "due", "closes")] for code in MONTHS]
    assert days == [[75, 84, 91, 120], [150, 175, 182, 215]]


def test_weeks_to_work_sport_and_driving_are_asked_until_the_second_year_and_nothing_else_is_added() -> None:
    asking = [code for code in ENTRIES if "return@1" in instruments(code)]
    assert asking == [*MONTHS, "year-1", "year-2"]
    for code, standard in OF_STANDARD.items():
        assert [part for part in ENTRIES[code]["parts"] if part["instrument"] != "return@1"] == standard["parts"]


def test_the_two_months_ask_for_events_the_acceptable_state_pain_and_the_own_rating_and_month_6_for_function() -> None:
    first = ["since@2", "return@1", "pass@1", "pain@1", "sane@1"]
    assert (instruments("month-3"), instruments("month-6")) == (first, [*first, "sst@1"])
    asked = {code: sum(item.asked_if is None for item in items(code)) for code in (*MONTHS, "year-1", "year-2")}
    assert asked == {"month-3": 12, "month-6": 24, "year-1": 28, "year-2": 28}
    assert [ENTRIES[code]["minutes"] for code in asked] == [3, 5, 6, 6]
    warned = {item.item for item in items("month-3") if item.warning}
    assert warned == {"7a", "8a", "9a", "10a"} == {item.item for item in items("month-6") if item.warning}


def test_the_months_have_titles_in_both_languages() -> None:
    assert [ENTRIES[code]["title"] for code in MONTHS] == [
        {"en": "3 months after surgery", "es": "3 meses después de la operación"},
        {"en": "6 months after surgery", "es": "6 meses después de la operación"},
    ]


@pytest.mark.parametrize(
    ("item", "never"), [("1", "did not work"), ("2", "did no sport"), ("3", "did not drive")], ids="123"
)
def test_who_is_not_back_yet_is_told_from_who_will_not_be_and_from_who_never_did_it(item: str, never: str) -> None:
    library = load_library()
    definition, words = library.instrument("return@1"), library.texts("return@1")["en"]["items"][item]["options"]
    assert (words["1"], words["0"]) == ("Yes", "Not yet")
    assert "another reason" in words["2"] and never in words["3"]
    weeks = definition.by_item[f"{item}a"]
    assert weeks.asked_if is not None and (weeks.asked_if.item, weeks.asked_if.codes) == (item, frozenset({1}))


def test_the_weeks_reach_past_the_last_day_on_which_they_are_asked() -> None:
    weeks = {item["item"]: item for item in load_library().definition_document("return@1")["items"] if "max" in item}
    assert {name: (item["unit"], item["max"]) for name, item in weeks.items()} == dict.fromkeys(
        ("1a", "2a", "3a"), ("weeks", 130)
    )
    assert ENTRIES["year-2"]["closes_day"] <= 130 * 7
