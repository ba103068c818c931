"""The text fields of the enrolment page, read into an Enrolment.

| field | holds |
|---|---|
| `first_name`, `last_name` | text |
| `birth_on` | YYYY-MM-DD |
| `sex`, `language`, `time_zone`, `channel_order` | a word of its list; empty for the default |
| `email`, `phone`, `address`, `second_contact`, `study_number` | text, may be empty |
| `consent_contact`, `consent_research`, `consent_linkage`, `consent_unfinished` | ticked: any text |
| `left_shoulder`, `right_shoulder` | ticked: any text; a side with anything else filled in counts as ticked |
| `left_kind`, `right_kind`, … | for each side the members of ShoulderEntry: dates as above, `dominant` yes, no or empty, else text |
"""

import re
from collections.abc import Callable, Mapping
from dataclasses import fields as members
from datetime import date
from typing import Any

from server.clinic.checks import check_enrolment
from server.clinic.entries import Enrolment, ShoulderEntry
from server.models.operation import SIDES
from server.models.patient import CONSENT_KINDS

_DAY = re.compile(r"[0-9]{4}-[0-9]{2}-[0-9]{2}")
_NUMBER = re.compile(r"[0-9]{1,3}([.,][0-9]{1,2})?")
_ALONE_NO_ENTRY = ("kind", "dominant")  # a page sends these for a side that nobody touched

Errors = dict[str, list[str]]


def read_enrolment(fields: Mapping[str, str], *, today: date) -> tuple[Enrolment | None, Errors]:
    """The enrolment in a page's fields, or every error by field name. Never both; nothing is guessed."""
    read = _Fields(fields)
    born = read.day("birth_on", "birth date")
    if born is None and "birth_on" not in read.errors:
        read.refuse("birth_on", "Enter the birth date, for example 1957-03-28.")
    enrolment = Enrolment(
        first_name=read.text("first_name"),
        last_name=read.text("last_name"),
        birth_on=born or today,
        sex=read.text("sex") or "not_recorded",
        language=read.text("language") or "en",
        email=read.some("email"),
        phone=read.some("phone"),
        address=read.lines("address"),
        second_contact=read.lines("second_contact"),
        study_number=read.text("study_number"),
        consents=tuple(kind for kind in CONSENT_KINDS if read.text(f"consent_{kind}")),
        shoulders=tuple(read.shoulder(side) for side in SIDES if read.has_shoulder(side)),
        time_zone=read.text("time_zone"),
        channel_order=read.text("channel_order") or "email",
    )
    found = check_enrolment(enrolment, today=today, birth_known=born is not None)
    errors = {**found, **read.errors}  # what could not be read says more than what then failed a check
    return (None, errors) if errors else (enrolment, {})


def read_shoulder(fields: Mapping[str, str], side: str) -> tuple[ShoulderEntry, Errors]:
    """One side's fields, for a page that adds an operation; to be checked by add_operation."""
    read = _Fields(fields)
    return read.shoulder(side), read.errors


class _Fields:
    def __init__(self, fields: Mapping[str, str]) -> None:
        self.fields = fields
        self.errors: Errors = {}

    def refuse(self, field: str, why: str) -> None:
        self.errors.setdefault(field, []).append(why)

    def text(self, field: str) -> str:
        return " ".join(self.fields.get(field, "").split())

    def some(self, field: str) -> str | None:
        return self.text(field) or None

    def lines(self, field: str) -> str | None:
        found = [" ".join(line.split()) for line in self.fields.get(field, "").splitlines()]
        return "\n".join(line for line in found if line) or None

    def day(self, field: str, what: str) -> date | None:
        text = self.text(field)
        if not text:
            return None
        try:
            if _DAY.fullmatch(text):
                return date.fromisoformat(text)
        except ValueError:
            pass
        self.refuse(
            field, f"“{text}” is not a day of the calendar. Write the {what} as year-month-day, like 2024-03-28."
        )
        return None

    def number(self, field: str, what: str) -> float | None:
        text = self.text(field)
        if text and not _NUMBER.fullmatch(text):
            self.refuse(field, f"“{text}” is not a number. Write the {what} in figures, or leave it empty.")
            return None
        return float(text.replace(",", ".")) if text else None

    def whole(self, field: str, what: str) -> int | None:
        found = self.number(field, what)
        if found is not None and found != int(found):
            self.refuse(field, f"The {what} is a whole number.")
            return None
        return None if found is None else int(found)

    def yes_no(self, field: str) -> bool | None:
        text = self.text(field)
        if text not in ("yes", "no", ""):
            self.refuse(field, "Choose yes, no or not recorded.")
        return {"yes": True, "no": False}.get(text)

    def has_shoulder(self, side: str) -> bool:
        names = ["shoulder", *(member.name for member in members(ShoulderEntry) if member.name not in _ALONE_NO_ENTRY)]
        return any(self.text(f"{side}_{name}") for name in names)

    def shoulder(self, side: str) -> ShoulderEntry:
        values: dict[str, Any] = {}
        for member in members(ShoulderEntry):
            field = f"{side}_{member.name}"
            values[member.name] = self._readers().get(member.name, self.some)(field)
        return ShoulderEntry(**{**values, "side": side, "kind": values["kind"] or "index"})

    def _readers(self) -> dict[str, Callable[[str], Any]]:
        return {
            "surgery_planned_on": lambda field: self.day(field, "planned day of surgery"),
            "surgery_on": lambda field: self.day(field, "day of surgery"),
            "dominant": self.yes_no,
            "bmi": lambda field: self.number(field, "body mass index"),
            "asa": lambda field: self.whole(field, "ASA class"),
        }
