"""What is dialled by a tap is a number, and one; what is not says how to write it."""

import json
from pathlib import Path

import pytest

from server.fields.telephone import emergency_number_problem, telephone_problem
from server.staff.page.telephone import dialled

VECTORS = Path(__file__).parents[1] / "vectors" / "telephone.json"
WRITTEN = {case["text"]: case["expect"] for case in json.loads(VECTORS.read_text("utf-8"))["cases"]}


@pytest.mark.parametrize("text", [*WRITTEN, " 999 ", "0034 600 000 000", "+123456789012345", "00123456789012345"])
def test_a_number_is_taken_in_every_way_of_writing_it(text: str) -> None:
    assert telephone_problem(text) is None


@pytest.mark.parametrize("text", WRITTEN)
def test_a_tap_on_a_staff_page_dials_it_without_the_extension_as_the_phone_does(text: str) -> None:
    """The phone reads the same list (pwa/test/emergency.test.ts)."""
    assert dialled(text) == WRITTEN[text]


@pytest.mark.parametrize(
    "text",
    ["lunes a viernes, de 8 a 16", "see our 2 doors, 8 to 16", "the office", "11", "+34", "11 ext 200", "ext 200", "112 or 999",
     "555 0100 ext", "555 0100, evenings", "555 0100, 12", "٦٠٠١١١٢٢٢"],
)  # fmt: skip
def test_words_and_what_is_too_short_are_refused_with_how_to_write_it(text: str) -> None:
    said = telephone_problem(text) or ""
    assert f"“{text}” is not a telephone number" in said and "+34 600 000 000, 112" in said


@pytest.mark.parametrize(
    "text",
    ["112 / 061", "934 000 000 / 934 000 001", "555 0100/ 555 0101", "934000000 934000001", "+34 600 1 +34 601 1", "1234567890123456",
     "+1234567890123456 ext 1", "0301234567 / 0307654321", "030 / 0171 23456", "061 / 112", "030 / 123456 / 78", "5550100 / 5550101",
     "061 / 900 161 161", "061 / 600123456", "061 / 0900123", "020 123 / 456 7890", "030 123 / 4567", "+34 600 / 112112", "03 / 123456",
     "0301234 / 5678", "030 / 1234-5678", "(030 / 123456"],
)  # fmt: skip
def test_two_numbers_in_one_field_are_refused_since_a_tap_would_dial_them_as_one(text: str) -> None:
    assert "Write one number" in (telephone_problem(text) or "")


def test_where_it_may_be_one_number_the_refusal_says_to_leave_out_the_slash() -> None:
    said = telephone_problem("+49 (0)30 / 12 34 56") or ""
    assert "may be two numbers" in said and "leave out the slash, such as 030 123456" in said
    assert telephone_problem("+49 (0)30 12 34 56") is None


@pytest.mark.parametrize("text", ["112", "999", "555 0112", "+34 112"])
def test_the_emergency_number_is_digits_and_blanks(text: str) -> None:
    assert emergency_number_problem(text) is None


@pytest.mark.parametrize(
    "text", ["112 / 061", "112/061", "112-061", "112, 061", "112 ext 1", "112 #1", "call 112", "11", "1234567890123456"]
)
def test_anything_else_in_the_emergency_number_is_refused_with_how_to_write_it(text: str) -> None:
    said = emergency_number_problem(text) or ""
    assert f"“{text}” is not a telephone number" in said and "digits and blanks only, such as 112" in said
