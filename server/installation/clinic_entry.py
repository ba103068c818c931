"""`yearmark clinic`: what a person typed about a live clinic is checked, then set up or brought up to date."""

import re
from urllib.parse import urlsplit

from scoring.text import LANGUAGE
from server.installation.runtime import Runtime
from server.installation.set_up import ClinicEntry, change_clinic, clinic_mode, migrate, set_up_clinic
from server.models.clinic import Clinic
from server.schedule.dates import zone_named
from server.texts.languages import language_problem

AT_HOME = ("127.0.0.1", "localhost", "::1")
NUMBERS = ("phone", "closed_phone", "emergency_number")
WORDS = ("name", "phone_hours")


class EntryProblem(ValueError):
    """What was typed is not valid; the message says all that is wrong, by option, and what may be typed instead."""


def enter_clinic(runtime: Runtime, **typed: str) -> list[str] | None:
    """None when a live clinic was set up; for an existing one the options that changed it. `languages` may be left out.

    Raises EntryProblem, NotReady and FolderBusy. A demo's folder is refused before anything in it is changed.
    """
    entry = live_entry(typed)
    mode = clinic_mode(runtime)
    if mode == "demo":
        raise EntryProblem(f"{runtime.settings.data} holds a demo; give the clinic a folder of its own: --data DIR")
    migrate(runtime)
    with runtime.store.writing() as session:
        now = runtime.real_clock()
        set_up_clinic(session, entry, runtime.keys, now=now)
        more = ("languages",) if typed.get("languages") else ()
        return None if mode is None else [_option(name) for name in change_clinic(session, entry, now=now, more=more)]


def live_entry(typed: dict[str, str]) -> ClinicEntry:
    """The entry without space around it. Raises EntryProblem."""
    neat = {name: text.strip() for name, text in typed.items() if name != "languages" or text.strip()}
    if "languages" in neat:
        neat["languages"] = ",".join(each.strip() for each in neat["languages"].split(","))
    problems = [
        *(_too_long_or_unprintable(name, text) for name, text in neat.items()),
        *(f"{_option(name)} is empty" for name in WORDS if not neat[name]),
        *(_number_problem(name, neat[name]) for name in NUMBERS),
        _zone_problem(neat["time_zone"]),
        _languages_problem(neat.get("languages", "en")),
        _address_problem(neat["base_url"]),
    ]
    found = [problem for problem in problems if problem]
    if found:
        raise EntryProblem("; ".join(found))
    return ClinicEntry(mode="live", **{**neat, "base_url": neat["base_url"].rstrip("/")})


def _option(name: str) -> str:
    return f"--{name.replace('_', '-')}"


def _too_long_or_unprintable(name: str, text: str) -> str | None:
    longest = Clinic.__table__.columns[name].type.length  # type: ignore[attr-defined]
    if len(text) > longest:
        return f"{_option(name)} is longer than {longest} characters"
    return None if text.isprintable() else f"{_option(name)} holds a sign that cannot be printed"


def _number_problem(name: str, text: str) -> str | None:
    if any(sign.isdigit() for sign in text):
        return None
    return f"{_option(name)} is {text!r}; write the number that patients call, such as +34 600 000 000"


def _zone_problem(text: str) -> str | None:
    try:
        zone_named(text)
    except ValueError:
        return f"--time-zone is {text!r}; write an IANA name such as Europe/Madrid"
    return None


def _languages_problem(text: str) -> str | None:
    found = text.split(",")
    if len(set(found)) == len(found) and all(
        re.fullmatch(LANGUAGE, each) and not language_problem(each) for each in found
    ):
        return None
    return f"--languages is {text!r}; write codes with commas between, the clinic's own first, such as es,en,ar"


def _address_problem(text: str) -> str | None:
    """Phones keep answers offline and encrypt drafts on secure pages only: https, or this machine itself."""
    wrong = f"--base-url is {text!r}; write the address that patients reach, such as https://followup.clinic.example"
    try:
        parts = urlsplit(text)
        host, _port = parts.hostname, parts.port
    except ValueError:
        return wrong
    secure = parts.scheme == "https" or (parts.scheme == "http" and host in AT_HOME)
    more = parts.path not in ("", "/") or parts.query or parts.fragment or "@" in parts.netloc
    return None if secure and host and not more and " " not in text else wrong
