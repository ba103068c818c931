"""The clinic's settings: checked by their field table, changed by the settings page and the command line alike."""

import re
from collections.abc import Callable, Iterable, Mapping
from datetime import date, datetime
from urllib.parse import urlsplit

from sqlalchemy.orm import Session

from scoring.library import Library
from scoring.text import LANGUAGE
from server.clinic.history import change_row
from server.fields.check import Calendar, check_values
from server.fields.clinic import SETTINGS
from server.fields.field import Errors, Field, Value
from server.fields.opening_hours import hours_problem
from server.fields.searched_years import read_years
from server.fields.sender import LOOKS_LIKE, NoSender, belongs_to_nobody, sender_address
from server.fields.stored import stored_values
from server.fields.telephone import emergency_number_problem, telephone_problem
from server.models import Clinic
from server.queries.clock import clinic_to_change
from server.queries.current import mark_sheets_stale
from server.schedule.dates import zone_named
from server.timepoints.plan_install import check_default
from server.trust.audit import audit
from server.words.languages import language_problem

_NAMES_PEOPLE = ("surgeons", "mail_from")  # the audit trail holds no name; the sealed history has old and new
_NO_DAY = date.min  # no setting is a day
AT_HOME = ("127.0.0.1", "localhost", "::1")
TELEPHONES: Mapping[str, Callable[[str], str | None]] = {  # and how each is written instead, where it cannot be dialled
    "phone": telephone_problem,
    "closed_phone": telephone_problem,
    "emergency_number": emergency_number_problem,
}
ASKED: tuple[Field, ...] = tuple(field for field in SETTINGS if field.asked)


def tidy(values: Mapping[str, Value]) -> dict[str, Value]:
    """What a person may write in several ways, in one: `es, en` and an address with a slash at its end."""
    tidied = dict(values)
    languages, address = values.get("languages"), values.get("base_url")
    if isinstance(languages, str):
        tidied["languages"] = ",".join(each.strip() for each in languages.split(","))
    if isinstance(address, str):
        tidied["base_url"] = address.rstrip("/")
    return tidied


def check_settings(values: Mapping[str, Value], *, live: bool, kept: Mapping[str, Value] | None = None) -> Errors:
    """Every error by the setting's name, for the settings in `values`; empty when all is well.

    `kept`: what stands already. A telephone number or hours of it that cannot be stop no change of anything else.
    """
    fields = [field for field in SETTINGS if field.name in values]
    errors = check_values(fields, values, Calendar(_NO_DAY))
    for name, problem in _PROBLEMS.items():
        value = values.get(name)
        if kept is not None and name in kept and value == kept[name]:
            continue
        sentence = problem(value) if name not in errors and isinstance(value, str) and value else None
        if sentence:
            errors[name] = [sentence]
    if problem_of_hours := _hours_problem(values.get("phone_hours"), (kept or {}).get("phone_hours")):
        errors.setdefault("phone_hours", [problem_of_hours])
    for name, sentences in _against_each_other(values, live).items():
        errors.setdefault(name, []).extend(sentences)
    return errors


def _hours_problem(hours: Value, kept: Value) -> str | None:
    if not isinstance(hours, Mapping):
        return None
    stands = kept if isinstance(kept, Mapping) else {}
    changed = (text for code, text in hours.items() if text and text != stands.get(code))
    return next((said for text in changed if (said := hours_problem(text))), None)


def reached_by(clinic: Clinic) -> dict[str, Value]:
    """The telephone numbers that patients are told, and the hours, by the names of their settings."""
    return {name: getattr(clinic, name) for name in (*TELEPHONES, "phone_hours")}


def change_settings(
    session: Session, values: Mapping[str, Value], *, now: datetime, by_id: int | None, why: str | None = None
) -> list[str]:
    """Brings the settings in `values`, which were checked, up to date; returns the names of those that changed.

    Patients' due sheets are marked, so that phones learn of it.
    """
    clinic = clinic_to_change(session)
    fields = [field for field in SETTINGS if field.name in values]
    after = stored_values(fields, values)
    before = {name: getattr(clinic, name) for name in after}
    changed = change_row(session, clinic, after, now=now, by_id=by_id, why=why)
    if changed:
        mark_sheets_stale(session)
        told = [name for name in changed if name not in _NAMES_PEOPLE]
        what = {"before": {name: before[name] for name in told}, "after": {name: after[name] for name in told}}
        audit(session, "clinic:changed", "clinic 1", now=now, by_id=by_id, fields=changed, **what)
        session.flush()
    return changed


def make_default(session: Session, library: Library, name: str, *, now: datetime, by_id: int | None) -> bool:
    """New follow-ups start with this plan from now on. False when they did. Raises PlanRefused."""
    clinic = clinic_to_change(session)
    check_default(session, library, name)
    before = clinic.default_plan
    if not change_row(session, clinic, {"default_plan": name}, now=now, by_id=by_id):
        return False
    audit(session, "plan:default", f"plan {name}", now=now, by_id=by_id, before=before)
    session.flush()
    return True


def what_follows(changed: Iterable[str]) -> list[str]:
    """What somebody who changed these settings has to know or to do."""
    return [_FOLLOWS[name] for name in changed if name in _FOLLOWS]


def _zone_problem(text: str) -> str | None:
    try:
        zone_named(text)
    except ValueError:
        return f"“{text}” is not a time zone; write an IANA name such as Europe/Madrid."
    return None


def _languages_problem(text: str) -> str | None:
    tags = text.split(",")
    known = all(re.fullmatch(LANGUAGE, tag) and not language_problem(tag) for tag in tags)
    if known and len(set(tags)) == len(tags):
        return None
    return (
        f"“{text}” is no list of languages; write codes with commas between, the clinic's own first, such as es,en,ar."
    )


def _address_problem(text: str) -> str | None:
    """Phones keep answers offline and encrypt drafts on secure pages only: https, or this machine itself."""
    wrong = f"“{text}” cannot be it; write the address that patients reach, such as https://followup.clinic.example."
    if "://" not in text:
        return (
            f"“{text}” does not begin with https://. Write the whole address, such as https://followup.clinic.example."
        )
    try:
        parts = urlsplit(text)
        host, _port = parts.hostname, parts.port
    except ValueError:
        return wrong
    secure = parts.scheme == "https" or (parts.scheme == "http" and host in AT_HOME)
    more = parts.path not in ("", "/") or parts.query or parts.fragment or "@" in parts.netloc
    return None if secure and host and not more and " " not in text else wrong


def _sender_problem(text: str) -> str | None:
    try:
        sender_address(text)
    except NoSender:
        return f"“{text}” is no sender; {LOOKS_LIKE}."
    return None


def _years_problem(text: str) -> str | None:
    try:
        read_years(text)
    except ValueError as problem:
        return str(problem)
    return None


_PROBLEMS: Mapping[str, Callable[[str], str | None]] = {
    **TELEPHONES,
    "time_zone": _zone_problem,
    "languages": _languages_problem,
    "base_url": _address_problem,
    "mail_from": _sender_problem,
    "searched_years": _years_problem,
}


def _against_each_other(values: Mapping[str, Value], live: bool) -> Errors:
    """What only shows beside another setting: the sender of a live clinic, the hours in the clinic's first language."""
    errors: Errors = {}
    sender, hours, languages = values.get("mail_from"), values.get("phone_hours"), values.get("languages")
    if live and isinstance(sender, str) and not _sender_problem(sender) and belongs_to_nobody(sender_address(sender)):
        errors["mail_from"] = [
            "Addresses that end with .example or YOUR-DOMAIN belong to nobody. Write one where somebody reads replies."
        ]
    if isinstance(hours, Mapping) and hours and isinstance(languages, str):
        first = languages.split(",")[0]
        if not hours.get(first):
            errors["phone_hours"] = [
                f"Enter the hours in the clinic's first language ({first}): other languages fall back to them."
            ]
    return errors


_FOLLOWS: Mapping[str, str] = {
    "time_zone": "The clinic's day changes with its time zone: what opens, is due and closes goes by the new one from now on. "
    "Days that are already written down stay as they are.",
    "base_url": "Links that patients already have lead to the old address. Keep it working, or let its web server pass on to the "
    "new one; messages and letters name the new address from now on. Restart the server after a change between http and https.",
    "languages": "In a language that is new no form goes out before its texts are installed or decided, under Texts.",
}
