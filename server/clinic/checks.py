"""Every check on what is entered, as plain sentences by field name. The same checks serve pages, imports and the demo."""

import re
from collections.abc import Collection, Iterable
from datetime import date, timedelta

from sqlalchemy import select
from sqlalchemy.orm import Session

from server.clinic.entries import CHANNELS, EARLIEST_SURGERY, OLDEST_YEARS, Enrolment, ShoulderEntry
from server.models import Clinic, Patient
from server.models.operation import CUFF_STATES, DIAGNOSES, IMPLANT_TYPES, OPERATION_KINDS, SIDES, Operation
from server.models.patient import CONSENT_KINDS, SEXES
from server.schedule.dates import anniversary, zone_named

Errors = dict[str, list[str]]

PLANNED_AHEAD_DAYS = 5 * 366  # further ahead is a wrong year
_STUDY_NUMBER = re.compile(r"[A-Za-z0-9][A-Za-z0-9._-]{0,19}")
_EMAIL = re.compile(r"[^\s@<>(),;:\"\\]{1,64}@[A-Za-z0-9-]+(\.[A-Za-z0-9-]+)+")
_PHONE = re.compile(r"\+?[0-9][0-9 ()/.-]{4,38}")
_LANGUAGE = re.compile(r"[a-z]{2,3}(-[A-Z]{2})?")
_LONGEST = {"first_name": 80, "last_name": 80, "email": 254, "address": 400, "second_contact": 400}
_CHOICES = {
    "kind": OPERATION_KINDS,
    "diagnosis": DIAGNOSES,
    "implant_type": IMPLANT_TYPES,
    **{f"cuff_{tendon}": CUFF_STATES for tendon in ("supraspinatus", "infraspinatus", "subscapularis", "teres_minor")},
}
_TEXTS = (
    *("diagnosis_stage", "implant_model", "implant_size", "implant_lot", "fixation", "procedure", "surgeon", "smoking"),
    *("earlier_surgery", "glenoid_type", "glenoid_wear", "glenoid_treatment", "subscapularis_handling"),
)


class _Found:
    def __init__(self) -> None:
        self.errors: Errors = {}

    def unless(self, holds: bool, field: str, sentence: str) -> bool:
        if not holds:
            self.errors.setdefault(field, []).append(sentence)
        return holds


def check_enrolment(
    enrolment: Enrolment, *, today: date, session: Session | None = None, birth_known: bool = True
) -> Errors:
    """Every error by field name (`left_surgery_on` for one side's); empty when all is well.

    With a session also against what is kept: study number and languages. `birth_known` False leaves out what needs the birth date.
    """
    found = _Found()
    _check_person(found, enrolment, today, birth_known)
    _check_contact(found, enrolment)
    born = enrolment.birth_on if birth_known else None
    found.unless(bool(enrolment.shoulders), "shoulders", "Enter at least one shoulder: tick left or right.")
    sides = [entry.side for entry in enrolment.shoulders]
    found.unless(
        len(set(sides)) == len(sides), "shoulders", "Each side is entered once; add a later operation afterwards."
    )
    for entry in enrolment.shoulders:
        for field, sentences in check_shoulder(entry, born=born, today=today).items():
            found.errors.setdefault(field, []).extend(sentences)
    if session is not None:
        _check_kept(found, enrolment, session)
    return found.errors


def check_shoulder(entry: ShoulderEntry, *, born: date | None, today: date) -> Errors:
    """One operation by itself; fields are prefixed with the side."""
    found = _Found()
    found.unless(entry.side in SIDES, "shoulders", "A shoulder is left or right.")

    def unless(holds: bool, name: str, sentence: str) -> None:
        found.unless(holds, f"{entry.side}_{name}", sentence)

    for name, words in _CHOICES.items():
        value = getattr(entry, name)
        unless(value is None or value in words, name, f"Choose one of: {_listed(words)}.")
    for name in _TEXTS:
        longest = Operation.__table__.c[name].type.length  # type: ignore[attr-defined]
        unless(
            len(getattr(entry, name) or "") <= longest, name, f"This is longer than {longest} characters; shorten it."
        )
    unless(entry.bmi is None or 10 <= entry.bmi <= 90, "bmi", "A body mass index lies between 10 and 90 kg/m².")
    unless(entry.asa is None or 1 <= entry.asa <= 5, "asa", "An ASA class lies between 1 and 5.")
    both = entry.surgery_planned_on is not None and entry.surgery_on is not None
    unless(not both, "surgery_on", "Enter the planned day or the day it was done, not both.")
    if entry.surgery_on is not None:
        _add(found, f"{entry.side}_surgery_on", check_done_on(entry.surgery_on, born=born, today=today))
    if entry.surgery_planned_on is not None:
        _add(found, f"{entry.side}_surgery_planned_on", check_planned_on(entry.surgery_planned_on, today=today))
    return found.errors


def check_done_on(on: date, *, born: date | None, today: date) -> list[str]:
    """What speaks against a day on which something was done to the patient."""
    if on > today:
        return [f"{on} is after today ({today}). Enter a day in the future as the planned day."]
    if born is not None and on < born:
        return [f"{on} is before the birth date ({born}). Check the year of both."]
    if on < EARLIEST_SURGERY:
        return [f"{on} is before {EARLIEST_SURGERY.year}. Check the year."]
    return []


def check_planned_on(on: date, *, today: date) -> list[str]:
    if on < today:
        return [
            f"{on} has passed. If the operation was done, enter it as the day of surgery; otherwise enter the new day."
        ]
    if on > today + timedelta(days=PLANNED_AHEAD_DAYS):
        return [f"{on} is more than five years ahead. Check the year."]
    return []


def check_birth(born: date, *, today: date) -> str | None:
    """What is wrong with a birth date, as a sentence; None when it can be one."""
    if born > today:
        return f"{born} is after today ({today}). Check the year."
    if born < anniversary(today, -OLDEST_YEARS):
        return f"{born} is more than {OLDEST_YEARS} years ago. Check the year."
    return None


def _check_person(found: _Found, enrolment: Enrolment, today: date, birth_known: bool) -> None:
    found.unless(bool(enrolment.first_name.strip()), "first_name", "Enter the first name.")
    found.unless(bool(enrolment.last_name.strip()), "last_name", "Enter the last name.")
    for name, longest in _LONGEST.items():
        value = getattr(enrolment, name) or ""
        found.unless(len(value) <= longest, name, f"This is longer than {longest} characters; shorten it.")
        found.unless(
            all(sign == "\n" or sign.isprintable() for sign in value), name, "This holds a sign that cannot be printed."
        )
    if birth_known:
        wrong = check_birth(enrolment.birth_on, today=today)
        found.unless(wrong is None, "birth_on", wrong or "")
    found.unless(enrolment.sex in SEXES, "sex", f"Choose one of: {_listed(SEXES)}.")
    found.unless(bool(_LANGUAGE.fullmatch(enrolment.language)), "language", "Choose a language.")
    number = enrolment.study_number
    found.unless(
        not number or bool(_STUDY_NUMBER.fullmatch(number)),
        "study_number",
        "A study number has at most 20 letters, figures, points or hyphens. Leave it empty to take the next free one.",
    )
    known = set(enrolment.consents) <= set(CONSENT_KINDS)
    found.unless(known, "consents", f"A consent is one of: {_listed(CONSENT_KINDS)}.")
    try:
        zone_named(enrolment.time_zone or "UTC")
    except ValueError:
        found.unless(False, "time_zone", f"“{enrolment.time_zone}” is not a time zone such as Europe/Madrid.")


def check_reach(email: str | None, phone: str | None) -> dict[str, list[str]]:
    """What cannot be right about an e-mail address and a telephone number, by field; None is not given."""
    errors: dict[str, list[str]] = {}
    if email is not None and not _EMAIL.fullmatch(email):
        errors["email"] = [f"“{email}” is not an e-mail address such as name@example.org."]
    if phone is not None and not _PHONE.fullmatch(phone):
        errors["phone"] = [f"“{phone}” is not a telephone number such as +34 600 000 000."]
    return errors


def _check_contact(found: _Found, enrolment: Enrolment) -> None:
    email, phone = enrolment.email, enrolment.phone
    for field, sentences in check_reach(email, phone).items():
        for sentence in sentences:
            found.unless(False, field, sentence)
    channels = [channel.strip() for channel in enrolment.channel_order.split(",")]
    known = all(channel in CHANNELS for channel in channels) and len(set(channels)) == len(channels)
    if not found.unless(known, "channel_order", f"A way of contact is one of: {_listed(CHANNELS)}; each once."):
        return
    needs = {
        "email": ("email", email),
        "sms": ("phone", phone),
        "telephone": ("phone", phone),
        "letter": ("address", enrolment.address),
    }
    words = {"email": "an e-mail address", "phone": "a telephone number", "address": "a postal address"}
    for channel in channels:
        field, value = needs[channel]
        found.unless(
            bool(value),
            field,
            f"The way of contact “{_WAYS[channel]}” needs {words[field]}; enter it or choose another way.",
        )


_WAYS = {"email": "e-mail", "sms": "text message", "letter": "letter", "telephone": "telephone"}


def _check_kept(found: _Found, enrolment: Enrolment, session: Session) -> None:
    number = enrolment.study_number
    taken = bool(number) and session.scalar(select(Patient.id).where(Patient.study_number == number)) is not None
    found.unless(
        not taken, "study_number", f"{number} belongs to another patient. Leave it empty to take the next free one."
    )
    languages: Collection[str] = (session.scalar(select(Clinic.languages)) or "").split(",")
    spoken = enrolment.language in [language.strip() for language in languages]
    found.unless(spoken, "language", f"This clinic's languages are {_listed(languages)}; its forms come in no other.")


def _add(found: _Found, field: str, sentences: list[str]) -> None:
    for sentence in sentences:
        found.unless(False, field, sentence)


def _listed(words: Iterable[str]) -> str:
    return ", ".join(word.replace("_", " ") for word in words)
