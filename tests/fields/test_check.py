"""Values are checked by their table, whoever entered them."""

from datetime import date

import pytest

from server.fields.check import Calendar, EntryRefused, check_values, checked, in_english
from server.fields.event import EVENT
from server.fields.field import Field, Kind, Tense, Value, named
from server.fields.operation import OPERATION

CALENDAR = Calendar(date(2026, 6, 15), date(1957, 3, 28))
DONE: dict[str, Value] = {"kind": "index", "surgery_on": date(2025, 6, 20)}


@pytest.mark.parametrize(
    ("name", "value", "says"),
    [
        ("kind", None, "Choose one of: first operation, revision, second stage of an exchange"),
        ("diagnosis", "gout", "Choose one of the list under diagnosis."),
        ("bmi", 9.9, "BMI lies between 10 and 90 kg/m²."),
        ("asa", "6", "Choose one of: 1, 2, 3, 4, 5, unknown"),
        ("surgeon", "S" * 81, "longer than 80 characters"),
        ("surgeon", "Dr\x07", "a sign that cannot be printed"),
        (
            "surgery_on",
            date(2026, 6, 16),
            "16 June 2026 is after today (15 June 2026). Enter a day in the future as the planned",
        ),
        ("surgery_on", date(1956, 1, 1), "is before the birth date"),
        ("surgery_planned_on", date(2026, 6, 14), "has passed"),
        ("surgery_planned_on", date(2032, 6, 14), "more than five years ahead"),
    ],
)
def test_what_cannot_be_is_said_in_a_sentence_at_its_field(name: str, value: Value, says: str) -> None:
    errors = check_values(OPERATION, {**DONE, name: value}, CALENDAR, prefix="left_")
    assert list(errors) == [f"left_{name}"]
    assert says in in_english(errors[f"left_{name}"])[0]


@pytest.mark.parametrize(
    ("on", "precision", "says"),
    [
        (date(2027, 1, 1), "month", "January 2027 is after today (15 June 2026). Check the day."),
        (date(1950, 1, 1), "year", "1950 is before the birth date (28 March 1957). Check the year of both."),
    ],
)
def test_a_day_of_an_event_is_told_as_it_was_typed(on: date, precision: str, says: str) -> None:
    happened: dict[str, Value] = {
        "kind": "instability",
        "certainty": "reported",
        "source_kind": "patient",
        "happened_on": on,
    }
    assert check_values(EVENT, {**happened, "happened_precision": precision}, CALENDAR) == {"happened_on": [says]}


def test_a_checked_entry_holds_every_column_of_its_table() -> None:
    entry = checked(OPERATION, DONE, CALENDAR)
    assert set(entry) == {name for field in OPERATION for name in (field.name, field.precision) if name}
    assert (entry.text("kind"), entry.day("surgery_on"), entry["bmi"]) == ("index", date(2025, 6, 20), None)


def test_nothing_becomes_an_entry_that_the_table_refuses() -> None:
    with pytest.raises(EntryRefused) as refused:
        checked(OPERATION, {"kind": "index", "bmi": 5, "asa": "9"}, CALENDAR)
    assert sorted(refused.value.errors) == ["asa", "bmi"]


def test_a_name_or_a_type_that_no_reader_makes_is_a_fault_of_the_program() -> None:
    with pytest.raises(ValueError, match="no field of this table: surgon"):
        check_values(OPERATION, {**DONE, "surgon": "x"}, CALENDAR)
    with pytest.raises(TypeError, match="bmi"):
        check_values(OPERATION, {**DONE, "bmi": "27"}, CALENDAR)


def test_a_day_without_a_precision_is_exact() -> None:
    happened: dict[str, Value] = {
        "kind": "infection",
        "happened_on": date(2020, 1, 1),
        "certainty": "reported",
        "source_kind": "patient",
    }
    assert checked(EVENT, happened, CALENDAR)["happened_precision"] == "day"


def test_a_field_applies_to_the_operations_that_its_row_names() -> None:
    planned = named(OPERATION, "surgery_planned_on")
    of_revisions = Field("why", "Why", Kind.TEXT, kinds=("revision",), tense=Tense.ANY, stays="a test")
    assert [planned.applies(kind="index", done=done) for done in (True, False)] == [False, True]
    assert [of_revisions.applies(kind=kind, done=True) for kind in ("index", "revision")] == [False, True]
