"""Whether two people on paper may be one person: a pure rule, by names, birth date, telephone and e-mail.

| they are | when |
|---|---|
| probably the same | both names alike (also the other way round), and the birth date alike, the birth year the same or a contact shared |
| | the first name alike and the same birth date: a family name may have changed |
| perhaps twins | the same birth date and family name, another first name |
| sharing a contact | the same telephone number or e-mail address, and nothing of the above: a couple, a daughter who helps |

Names are alike when they are equal without accents, case and signs, when one lies in the other word by word (Ana, Ana María), or when
they differ by one letter, left out, added, changed or swapped with its neighbour. Birth dates are alike when they are equal, have day and
month the other way round, or differ by one figure or by two neighbouring figures that were swapped.
"""

import unicodedata
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date
from enum import StrEnum

SHORTEST_WITH_A_SLIP = 4  # letters; in shorter names one letter is another name
SAME_END = 8  # last figures of a telephone number: what stands before is a country, written or not


class Likeness(StrEnum):
    SAME = "same"
    TWIN = "twin"
    CONTACT = "contact"


@dataclass(frozen=True)
class Traits:
    first_name: str
    last_name: str
    born: date
    phone: str | None = None
    email: str | None = None


def likeness(one: Traits, other: Traits) -> Likeness | None:
    """What two people have to do with each other, by the table above; None when nothing."""
    first, last = names_alike(one.first_name, other.first_name), names_alike(one.last_name, other.last_name)
    contact = shares_contact(one, other)
    if (first and last) or _swapped(one, other):
        near = days_alike(one.born, other.born) or one.born.year == other.born.year
        return Likeness.SAME if near or contact else None
    if one.born == other.born and first:
        return Likeness.SAME
    if one.born == other.born and last:
        return Likeness.TWIN
    return Likeness.CONTACT if contact else None


def _swapped(one: Traits, other: Traits) -> bool:
    return names_alike(one.first_name, other.last_name) and names_alike(one.last_name, other.first_name)


def names_alike(one: str, other: str) -> bool:
    words, others = _words(one), _words(other)
    if not words or not others:
        return False
    return set(words) <= set(others) or set(others) <= set(words) or _one_slip("".join(words), "".join(others))


def days_alike(one: date, other: date) -> bool:
    return one == other or other in set(slips_of(one))


def slips_of(day: date) -> Iterator[date]:
    """The days that a slip of the pen makes of one: day and month the other way round, one wrong figure, two neighbours swapped."""
    text = day.strftime("%Y%m%d")
    written = [text[:4] + text[6:] + text[4:6]]
    written += [text[:at] + text[at + 1] + text[at] + text[at + 2 :] for at in range(len(text) - 1)]
    written += [text[:at] + figure + text[at + 1 :] for at in range(len(text)) for figure in "0123456789"]
    for each in written:
        try:
            slip = date.fromisoformat(each)
        except ValueError:
            continue  # no day of the calendar
        if slip != day:
            yield slip


def years_to_look_in(born: date) -> set[int]:
    """The birth years of everybody who could be alike by name."""
    return {born.year, *(slip.year for slip in slips_of(born))}


def shares_contact(one: Traits, other: Traits) -> bool:
    phones = bare_phone(one.phone), bare_phone(other.phone)
    emails = bare_email(one.email), bare_email(other.email)
    return any(each and each == another for each, another in (phones, emails))


def bare_phone(phone: str | None) -> str:
    """What of a telephone number is compared."""
    figures = "".join(sign for sign in phone or "" if sign.isdecimal())
    return figures[-SAME_END:]


def bare_email(email: str | None) -> str:
    return (email or "").strip().casefold()


def _words(name: str) -> list[str]:
    bare = unicodedata.normalize("NFKD", name).casefold()
    spaced = "".join(sign if sign.isalnum() else " " for sign in bare if not unicodedata.combining(sign))
    return spaced.split()


def _one_slip(one: str, other: str) -> bool:
    """Equal, or one letter left out, added or changed, or two neighbours swapped."""
    if one == other:
        return True
    if min(len(one), len(other)) < SHORTEST_WITH_A_SLIP or abs(len(one) - len(other)) > 1:
        return False
    at = next((place for place, pair in enumerate(zip(one, other, strict=False)) if pair[0] != pair[1]), None)
    if at is None:
        return True  # one letter more at the end
    rest, others = one[at:], other[at:]
    swapped = rest[1:2] + rest[:1] + rest[2:] == others
    return swapped or rest[1:] == others[1:] or rest[1:] == others or rest == others[1:]
