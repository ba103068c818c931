"""The code on an implant's label, read into the fields of a component."""

from datetime import date

import pytest

from server.fields.udi import NotReadable, read_udi

# Printed by GS1 and others; the separator FNC1 comes from a scanner as the sign 1D, and from a form field as a space.
PUBLISHED = {
    "device number, lot, use by and serial": (
        "010506091751001110628S93R\x1d17241000218898847482518646",
        {
            "device_identifier": "05060917510011",
            "lot": "628S93R",
            "expires_on": date(2024, 10, 31),  # a day of 00 is the last day of the month
            "serial": "8898847482518646",
        },
    ),
    "as printed below the code": (
        "(01)09506000134352(17)201225(10)ABC123",
        {"device_identifier": "09506000134352", "expires_on": date(2020, 12, 25), "lot": "ABC123"},
    ),
    "a part that is not asked for": (
        "(01)07032069804988(15)210526(10)0329",
        {"device_identifier": "07032069804988", "lot": "0329"},
    ),
}


@pytest.mark.parametrize(("code", "parts"), PUBLISHED.values(), ids=PUBLISHED)
def test_a_published_example_is_read(code: str, parts: dict[str, object]) -> None:
    assert read_udi(code) == parts


@pytest.mark.parametrize("sent", ["]d2{}", "]C1{}", " {} ", "\x1d{}"])
def test_what_a_scanner_sends_around_it_is_left_out(sent: str) -> None:
    code, parts = PUBLISHED["device number, lot, use by and serial"]
    assert read_udi(sent.format(code)) == parts


def test_a_separator_that_a_form_made_a_space_of_still_separates() -> None:
    code, parts = PUBLISHED["device number, lot, use by and serial"]
    assert read_udi(code.replace("\x1d", " ")) == parts


@pytest.mark.parametrize(
    ("code", "says"),
    [
        ("0109506000134353", "check figure"),
        ("10ABC123", "no device number"),
        ("LOT 4711", "no GS1 code"),
        ("(01)0950600013435", "no GS1 code"),
        ("010950600013435217201399", "no GS1 code"),
        ("(", "no GS1 code"),
    ],
    ids=["a mistyped figure", "a lot alone", "no code", "a figure short", "no such month", "a bracket"],
)
def test_what_cannot_be_is_refused_in_words(code: str, says: str) -> None:
    with pytest.raises(NotReadable, match=says):
        read_udi(code)
