"""The enrolment page's fields: read, or every error at once by field."""

from datetime import date

import pytest

from server.clinic.enrolment_form import read_enrolment
from server.fields.check import in_english
from tests.storehouse import TODAY

FIELDS = {
    "first_name": " Ada ",
    "last_name": "Ardent",
    "birth_on": "1957-03-28",
    "sex": "female",
    "language": "en",
    "email": "ada@example.org",
    "consent_contact": "on",
    "channel_order": "email",
    "left_shoulder": "on",
    "left_kind": "index",
    "left_surgery_on": "2025-06-20",
    "left_diagnosis": "osteonecrosis",
    "left_dominant": "yes",
    "left_bmi": "27,5",
    "left_asa": "2",
    "right_kind": "index",
    "right_dominant": "",
}


def errors_of(**changed: str) -> dict[str, list[str]]:
    enrolment, errors = read_enrolment({**FIELDS, **changed}, today=TODAY)
    assert (enrolment is None) == bool(errors)
    return {name: in_english(found) for name, found in errors.items()}


def test_a_filled_page_becomes_an_enrolment() -> None:
    enrolment, errors = read_enrolment(FIELDS, today=TODAY)
    assert errors == {}
    assert enrolment is not None
    assert (enrolment.person["first_name"], enrolment.person["birth_on"]) == ("Ada", date(1957, 3, 28))
    assert enrolment.consents == ("contact",)
    (left,) = enrolment.shoulders
    found = [left.values[name] for name in ("surgery_on", "dominant", "bmi", "asa", "implant_type")]
    assert (left.side, found) == ("left", [date(2025, 6, 20), "yes", 27.5, "2", None])


def test_a_side_counts_when_anything_was_typed_there() -> None:
    enrolment, _ = read_enrolment({**FIELDS, "right_procedure": "resurfacing"}, today=TODAY)
    assert enrolment is not None
    assert [each.side for each in enrolment.shoulders] == ["left", "right"]


def test_all_errors_come_at_once_and_by_field() -> None:
    errors = errors_of(
        first_name=" ",
        birth_on="28.3.1957",
        email="ada@",
        left_surgery_on="2025-02-30",
        left_bmi="heavy",
        left_asa="7",
        left_diagnosis="gout",
        study_number="=1+1",
    )
    assert set(errors) == {
        "first_name",
        "birth_on",
        "email",
        "left_surgery_on",
        "left_bmi",
        "left_asa",
        "left_diagnosis",
        "study_number",
    }
    assert all(len(sentences) == 1 for sentences in errors.values())


@pytest.mark.parametrize("text", ["2025-6-1", "20250601", "2025-W23-1", "٢٠٢٥-٠٦-٠١", "2025-06-01T00:00"])
def test_a_day_is_written_in_one_way_only(text: str) -> None:
    assert "year-month-day" in errors_of(left_surgery_on=text)["left_surgery_on"][0]


def test_a_day_with_its_year_at_the_end_is_shown_as_it_can_be_meant() -> None:
    said = errors_of(left_surgery_on="01/06/2025")["left_surgery_on"][0]
    assert "2025-06-01" in said and "2025-01-06" in said


@pytest.mark.parametrize(
    ("changed", "field"),
    [
        ({"birth_on": ""}, "birth_on"),
        ({"birth_on": "2026-06-16", "left_surgery_on": ""}, "birth_on"),
        ({"birth_on": "1911-06-14"}, "birth_on"),
        ({"left_surgery_on": "1956-03-28"}, "left_surgery_on"),
        ({"left_surgery_planned_on": "2026-07-01"}, "left_surgery_on"),
        ({"email": ""}, "email"),
        ({"channel_order": "sms,email"}, "phone"),
        ({"channel_order": "letter"}, "address"),
        ({"channel_order": "email,email"}, "channel_order"),
        ({"channel_order": "pigeon"}, "channel_order"),
        ({"phone": "call me"}, "phone"),
        ({"time_zone": "Europe/Atlantis"}, "time_zone"),
        ({"sex": "f"}, "sex"),
        ({"last_name": "A" * 81}, "last_name"),
        ({"first_name": "A\x07da"}, "first_name"),
        ({"left_dominant": "perhaps"}, "left_dominant"),
        ({"left_surgeon": "S" * 81}, "left_surgeon"),
    ],
)
def test_one_wrong_thing_gives_one_error_in_its_place(changed: dict[str, str], field: str) -> None:
    assert list(errors_of(**changed)) == [field]


def test_no_shoulder_at_all_is_refused() -> None:
    bare = {name: text for name, text in FIELDS.items() if not name.startswith(("left_", "right_"))}
    _, errors = read_enrolment(bare, today=TODAY)
    assert list(errors) == ["shoulders"]


def test_someone_of_115_years_born_on_a_leap_day_is_still_accepted() -> None:
    enrolment, errors = read_enrolment(
        {**FIELDS, "birth_on": "1912-02-29", "left_surgery_on": "2020-01-01"}, today=date(2027, 2, 28)
    )
    assert errors == {}
    assert enrolment is not None
