"""What is dialled by a tap is a number; what is not says how to write it."""

import pytest

from server.fields.telephone import telephone_problem


@pytest.mark.parametrize(
    "text",
    [
        "112",
        "999",
        "+34 600 000 000",
        "(+34) 600-000-000",
        "01632/960.001",
        "555 0100 ext 12",
        "555 0100 Ext. 12",
        "555 0100x12",
    ],
)
def test_a_number_is_taken_in_every_way_of_writing_it(text: str) -> None:
    assert telephone_problem(text) is None


@pytest.mark.parametrize(
    "text",
    ["lunes a viernes, de 8 a 16", "see our 2 doors, 8 to 16", "the office", "11", "+34", "11 ext 200", "ext 200", "112 or 999",
     "555 0100 ext", "555 0100, evenings", "٦٠٠١١١٢٢٢"],
)  # fmt: skip
def test_words_and_what_is_too_short_are_refused_with_how_to_write_it(text: str) -> None:
    said = telephone_problem(text) or ""
    assert f"“{text}” is not a telephone number" in said and "+34 600 000 000, 112" in said
