"""Whether two people on paper may be one: names, birth dates and contacts that are alike, twins and couples told apart."""

from datetime import date

import pytest

from server.clinic.likeness import Likeness, Traits, days_alike, likeness, names_alike, years_to_look_in

ADA = Traits("Ada María", "Núñez-Ortega", date(1957, 3, 28), "+34 600 111 222", "ada@example.org")


def but(**changed: object) -> Traits:
    return Traits(**{**ADA.__dict__, "phone": None, "email": None, **changed})


@pytest.mark.parametrize(
    ("one", "other", "alike"),
    [
        ("Núñez", "NUNEZ", True),
        ("Núñez-Ortega", "Nunez Ortega", True),
        ("Ana", "Ana María", True),
        ("Katharina", "Katarina", True),
        ("Meyer", "Meier", True),
        ("Maria", "Mraia", True),
        ("Ada", "Ida", False),
        ("Ardent", "Bright", False),
        ("", "Ada", False),
        ("Ana María", "Eva María", False),
    ],
)
def test_names_are_alike_without_accents_and_with_one_slip(one: str, other: str, alike: bool) -> None:
    assert names_alike(one, other) is alike
    assert names_alike(other, one) is alike


@pytest.mark.parametrize(
    ("other", "alike"),
    [
        (date(1957, 3, 28), True),
        (date(1975, 3, 28), True),
        (date(1957, 3, 23), True),
        (date(1957, 3, 29), True),
        (date(1957, 4, 27), False),
        (date(1958, 4, 28), False),
    ],
)
def test_birth_dates_are_alike_with_one_slip(other: date, alike: bool) -> None:
    assert days_alike(ADA.born, other) is alike
    assert (other.year in years_to_look_in(ADA.born)) is (alike or other.year == 1958 or other.year == 1957)


def test_day_and_month_the_other_way_round_are_one_day() -> None:
    assert days_alike(date(1957, 3, 11), date(1957, 11, 3))


@pytest.mark.parametrize(
    ("other", "found"),
    [
        (but(), Likeness.SAME),
        (but(first_name="Nunez Ortega", last_name="Ada"), Likeness.SAME),
        (but(born=date(1975, 3, 28)), Likeness.SAME),
        (but(born=date(1957, 12, 1)), Likeness.SAME),
        (but(born=date(1931, 1, 1)), None),
        (but(born=date(1931, 1, 1), phone="600111222"), Likeness.SAME),
        (but(last_name="Married"), Likeness.SAME),
        (but(first_name="Berta"), Likeness.TWIN),
        (but(first_name="Berta", phone=ADA.phone), Likeness.TWIN),
        (but(first_name="Carlos", born=date(1955, 1, 2), email="ADA@example.org"), Likeness.CONTACT),
        (but(first_name="Carlos", last_name="Other", born=date(1955, 1, 2), phone="600-111-222"), Likeness.CONTACT),
        (but(first_name="Carlos", born=date(1955, 1, 2)), None),
        (but(first_name="Carlos", last_name="Other"), None),
    ],
)
def test_same_persons_twins_and_couples_are_told_apart(other: Traits, found: Likeness | None) -> None:
    assert likeness(ADA, other) == found
    assert likeness(other, ADA) == found
