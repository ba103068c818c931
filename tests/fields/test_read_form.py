"""Forms are read by their table: every kind of field, every error at once, in one sentence each."""

from datetime import date
from types import SimpleNamespace

import pytest

from server.fields.check import in_english
from server.fields.field import Field, Kind, Value
from server.fields.read_form import is_filled, read_form
from server.fields.stored import in_form

ROWS = {
    kind: Field("it", "It", kind, words={"a": "a", "b": "b"}, longest=40, stays="a test") for kind in Kind
}  # fmt: skip


@pytest.mark.parametrize(
    ("kind", "text", "value"),
    [
        (Kind.TEXT, "  two\t words \n", "two words"),
        (Kind.TEXT, "   ", None),
        (Kind.LINES, " one \n\n  two  \n\n", "one\n\ntwo"),
        (Kind.LIST, "Dr A\r\n\r\nDr B\r\nDr A", ("Dr A", "Dr B")),
        (Kind.SEVERAL, "b, a", ("b", "a")),
        (Kind.NUMBER, "27,5", 27.5),
        (Kind.NUMBER, "-5.25", -5.25),
        (Kind.NUMBER, "99999", 99999.0),
        (Kind.WHOLE, "3", 3),
        (Kind.YES_NO, "no", False),
        (Kind.YES_NO, "", None),
        (Kind.DAY, "2024-02-29", date(2024, 2, 29)),
    ],
)
def test_a_text_becomes_the_value_of_its_kind(kind: Kind, text: str, value: Value) -> None:
    assert read_form([ROWS[kind]], {"it": text}) == ({"it": value}, {})


@pytest.mark.parametrize(
    ("kind", "text", "says"),
    [
        (Kind.NUMBER, "heavy", "is not a number"),
        (Kind.NUMBER, "1e9", "is not a number"),
        (Kind.WHOLE, "2.5", "is not a whole number"),
        (Kind.YES_NO, "perhaps", "Choose yes, no"),
        (Kind.DAY, "2025-02-30", "is not a day of the calendar"),
        (Kind.DAY, "28.3.2025", "Write it as 2025-03-28."),
        (Kind.DAY, "17/10/2026", "has its year at the end. Write it as 2026-10-17."),
        (Kind.DAY, "10/17/2026", "Write it as 2026-10-17."),
        (Kind.DAY, "3/4/2026", "Write it as 2026-04-03 or 2026-03-04."),
        (Kind.DAY, "31/02/2026", "is not a day of the calendar. Write it as year-month-day"),
        (Kind.DAY, "last May", "is not a day of the calendar. Write it as year-month-day"),
    ],
)
def test_what_cannot_be_read_is_said_at_its_field(kind: Kind, text: str, says: str) -> None:
    values, errors = read_form([ROWS[kind]], {"left_it": text}, prefix="left_")
    assert values == {"it": None}
    assert [list(errors), says in in_english(errors["left_it"])[0]] == [["left_it"], True]


@pytest.mark.parametrize(
    ("text", "on", "precision"),
    [
        ("2019", date(2019, 1, 1), "year"),
        ("2019-05", date(2019, 5, 1), "month"),
        ("2019-05-09", date(2019, 5, 9), "day"),
        ("", None, None),
    ],
)
def test_a_day_may_be_known_to_its_month_or_year_only(text: str, on: date | None, precision: str | None) -> None:
    row = Field("happened_on", "When", Kind.DAY, precision="happened_precision", stays="a test")
    assert read_form([row], {"happened_on": text}) == ({"happened_on": on, "happened_precision": precision}, {})
    kept = SimpleNamespace(happened_on=on, happened_precision=precision)
    assert in_form([row], kept) == {"happened_on": text}


def test_a_text_in_several_languages_has_one_input_for_each() -> None:
    typed = {"it-en": " Monday ", "it-es": "", "it-xx": "never asked"}
    assert read_form([ROWS[Kind.BY_LANGUAGE]], typed, languages=("en", "es")) == ({"it": {"en": "Monday"}}, {})


def test_every_error_comes_at_once_and_what_could_be_read_is_kept() -> None:
    rows = [
        Field(name, name, kind, stays="a test") for name, kind in (("a", Kind.WHOLE), ("b", Kind.DAY), ("c", Kind.TEXT))
    ]
    values, errors = read_form(rows, {"a": "x", "b": "y", "c": "kept", "other": "left alone"})
    assert (values, sorted(errors)) == ({"a": None, "b": None, "c": "kept"}, ["a", "b"])


def test_a_form_counts_as_filled_when_anything_was_typed() -> None:
    rows = [ROWS[Kind.TEXT]]
    assert (is_filled(rows, {"left_it": " x"}, "left_"), is_filled(rows, {"left_it": "  "}, "left_")) == (True, False)
