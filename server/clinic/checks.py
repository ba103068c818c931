"""What is asked of an enrolment and of an operation beyond what their field tables say: how values fit each other and what is kept."""

import re
from collections.abc import Collection, Iterable, Mapping
from datetime import date

from sqlalchemy import select
from sqlalchemy.orm import Session

from server.clinic.entries import Enrolment, ShoulderEntry
from server.fields.check import Calendar, check_values, listed
from server.fields.field import Errors, Value
from server.fields.operation import OPERATION, SHOULDER
from server.fields.operation_words import SIDES
from server.fields.person import CHANNELS, CONSENT_KINDS, PERSON
from server.fields.telephone import telephone_problem
from server.models import Clinic, Patient
from server.schedule.dates import zone_named

_STUDY_NUMBER = re.compile(r"[A-Za-z0-9][A-Za-z0-9._-]{0,19}")
_EMAIL = re.compile(r"[^\s@<>(),;:\"\\]{1,64}@[A-Za-z0-9-]+(\.[A-Za-z0-9-]+)+")
_LANGUAGE = re.compile(r"[a-z]{2,3}(-[A-Z]{2})?")
_NEEDED = {  # by each way of contact: the field, and its words
    "email": ("email", "an e-mail address"),
    "sms": ("phone", "a telephone number"),
    "telephone": ("phone", "a telephone number"),
    "letter": ("address", "a postal address"),
}


def check_enrolment(enrolment: Enrolment, *, today: date, session: Session | None = None) -> Errors:
    """Every error by field name (`left_surgery_on` for one side's); empty when all is well.

    With a session also against what is kept: study number and languages.
    """
    calendar = Calendar(today)
    errors = check_values(PERSON, enrolment.person, calendar)
    _add(errors, _check_person(enrolment.person))
    _add(errors, _check_shoulders(enrolment, _born(enrolment, errors), today))
    if not set(enrolment.consents) <= set(CONSENT_KINDS):
        _add(errors, {"consents": [f"A consent is one of: {listed(CONSENT_KINDS.values())}."]})
    if session is not None:
        _add(errors, _check_kept(enrolment.person, session))
    return errors


def check_shoulder(entry: ShoulderEntry, *, born: date | None, today: date) -> Errors:
    """One operation by itself; fields are prefixed with the side."""
    if entry.side not in SIDES:
        return {"shoulders": ["A shoulder is left or right."]}
    errors = check_values((*OPERATION, *SHOULDER), entry.values, Calendar(today, born), prefix=f"{entry.side}_")
    kind, done = str(entry.values.get("kind")), entry.values.get("surgery_on") is not None
    if done and entry.values.get("surgery_planned_on") is not None:
        _add(errors, {f"{entry.side}_surgery_on": ["Enter the planned day or the day it was done, not both."]})
    for field in OPERATION:
        given = entry.values.get(field.name) is not None
        if given and field.name != "surgery_planned_on" and not field.applies(kind=kind, done=done):
            _add(errors, {f"{entry.side}_{field.name}": ["This is not recorded of such an operation; leave it empty."]})
    return errors


def check_contact(person: Mapping[str, Value], *, kept_phone: str | None = None) -> Errors:
    """What cannot be right about `email`, `phone` and `address`, and about the ways of `channel_order` to them, by field.

    `kept_phone`: the number on record; left as it is, it stops no other change.
    """
    email, phone = person.get("email"), person.get("phone")
    errors: Errors = {}
    if email is not None and not _EMAIL.fullmatch(str(email)):
        errors["email"] = [f"“{email}” is not an e-mail address such as name@example.org."]
    if phone is not None and phone != kept_phone and (problem := telephone_problem(str(phone))):
        errors["phone"] = [problem]
    _add(errors, _check_ways(person))
    return errors


def check_details(session: Session, person: Mapping[str, Value]) -> Errors:
    """What cannot be right about name, language, time zone and ways of contact of a patient who is enrolled already, by field."""
    errors = _check_person({name: value for name, value in person.items() if name != "study_number"})
    if not person.get("channel_order"):
        _add(errors, {"channel_order": ["Name at least one way of contact."]})
    _add(errors, {name: found for name, found in _check_kept(person, session).items() if name != "study_number"})
    return errors


def ways_beginning_with(first: str, earlier: Iterable[str], person: Mapping[str, Value]) -> tuple[str, ...]:
    """The way chosen now, then the earlier ones that still lead to somebody."""
    return (first, *(way for way in earlier if way != first and person.get(_NEEDED[way][0])))


def _born(enrolment: Enrolment, errors: Errors) -> date | None:
    """The birth date, unless it is missing or cannot be one: then nothing else is checked against it."""
    born = enrolment.person.get("birth_on")
    return born if isinstance(born, date) and "birth_on" not in errors else None


def _check_shoulders(enrolment: Enrolment, born: date | None, today: date) -> Errors:
    errors: Errors = {}
    sides = [entry.side for entry in enrolment.shoulders]
    if not sides:
        errors["shoulders"] = ["Enter at least one shoulder: tick left or right."]
    if len(set(sides)) < len(sides):
        errors["shoulders"] = ["Each side is entered once; add a later operation afterwards."]
    for entry in enrolment.shoulders:
        _add(errors, check_shoulder(entry, born=born, today=today))
    return errors


def _check_person(person: Mapping[str, Value]) -> Errors:
    errors = check_contact(person)
    number, language, zone = person.get("study_number"), person.get("language"), person.get("time_zone")
    if number and not _STUDY_NUMBER.fullmatch(str(number)):
        errors["study_number"] = [
            "A study number has at most 20 letters, figures, points or hyphens. Leave it empty to take the next free one."
        ]
    if language and not _LANGUAGE.fullmatch(str(language)):
        errors["language"] = ["Choose a language."]
    try:
        zone_named(str(zone or "UTC"))
    except ValueError:
        errors["time_zone"] = [f"“{zone}” is not a time zone such as Europe/Madrid."]
    return errors


def _check_ways(person: Mapping[str, Value]) -> Errors:
    """Each chosen way of contact needs what it goes to."""
    errors: Errors = {}
    chosen = person.get("channel_order")
    for way in chosen if isinstance(chosen, tuple) else ():
        field, words = _NEEDED.get(way, ("", ""))
        if field and not person.get(field):
            sentence = f"The way of contact “{CHANNELS[way]}” needs {words}; enter it or choose another way."
            errors.setdefault(field, []).append(sentence)
    return errors


def _check_kept(person: Mapping[str, Value], session: Session) -> Errors:
    errors: Errors = {}
    number = person.get("study_number")
    if number and session.scalar(select(Patient.id).where(Patient.study_number == number)) is not None:
        errors["study_number"] = [f"{number} belongs to another patient. Leave it empty to take the next free one."]
    languages: Collection[str] = (session.scalar(select(Clinic.languages)) or "").split(",")
    if person.get("language") not in [language.strip() for language in languages]:
        errors["language"] = [f"This clinic's languages are {listed(languages)}; its forms come in no other."]
    return errors


def _add(errors: Errors, more: Errors) -> None:
    for field, sentences in more.items():
        errors.setdefault(field, []).extend(sentences)
