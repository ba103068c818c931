"""Invented people: who they are and how they are reached. Numbers lie in ranges that are reserved for fiction.

Telephone: +44 7700 900000 to 900999 (Ofcom, numbers for drama use). E-mail: the reserved domain .example (RFC 2606).
"""

import unicodedata
from dataclasses import dataclass
from datetime import date, timedelta
from itertools import count
from random import Random

from server.demo.names import GROUPS, Names

STREETS = ("Made-up Lane", "Invented Row", "Nowhere Street", "Storybook Close", "Example Road", "Paper Street")
TOWNS = ("Lower Fancy", "Notatown", "Invention-on-Sea", "Villainventada", "Upper Example")
RELATIONS = ("Daughter", "Son", "Sister", "Brother", "Neighbour", "Wife or husband", "Niece")


@dataclass(frozen=True)
class Person:
    """`channel_order` as a patient keeps it; without e-mail it begins with letter or telephone."""

    first_name: str
    last_name: str
    sex: str
    birth_on: date
    language: str
    email: str | None
    phone: str
    address: str
    second_contact: str | None
    channel_order: str


class People:
    """Hands out people whose full names never repeat."""

    def __init__(self) -> None:
        self._taken: set[tuple[str, str]] = set()

    def invent(self, random: Random, *, age_on: date, spanish: bool, email: bool) -> Person:
        """Between 38 and 84 years old on `age_on`."""
        women = random.random() < 0.56
        group = GROUPS[-1] if spanish else random.choice(GROUPS[:-1])
        first, last = self._name(random, group, women)
        age_days = int(365.25 * min(84.0, max(38.0, random.gauss(64, 9.5))))
        phone, relation = _phone(random), random.choice(RELATIONS)
        return Person(
            first_name=first,
            last_name=last,
            sex="female" if women else "male",
            birth_on=age_on - timedelta(days=age_days),
            language=group.language,
            email=address_of(first, last) if email else None,
            phone=phone,
            address=f"{random.randint(1, 98)} {random.choice(STREETS)}\n{random.choice(TOWNS)}",
            second_contact=f"{relation}, {_phone(random)}" if random.random() < 0.7 else None,
            channel_order="email" if email else random.choice(("letter", "telephone,letter")),
        )

    def _name(self, random: Random, group: Names, women: bool) -> tuple[str, str]:
        """A first name that nobody has yet, if a few tries find one: the cast, invented first, is told apart by it."""
        known = {first for first, _ in self._taken}
        for tries in count():
            name = random.choice(group.women if women else group.men), random.choice(group.family)
            if name not in self._taken and (tries > 12 or name[0] not in known):
                self._taken.add(name)
                return name
        raise AssertionError("the list of names never ends")


def address_of(first: str, last: str) -> str:
    return f"{_plain(first)}.{_plain(last)}@patient.example"


def _phone(random: Random) -> str:
    return f"+44 7700 900{random.randint(0, 999):03d}"


def _plain(name: str) -> str:
    """Lower case, ASCII letters and hyphens: the part of an address before the at sign."""
    bare = unicodedata.normalize("NFKD", name).casefold()
    return "".join(sign for sign in bare if sign.isascii() and (sign.isalpha() or sign == "-"))
