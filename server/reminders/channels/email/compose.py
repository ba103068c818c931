"""A notice as an e-mail: plain text, the words from text/<lang>.json. Nothing a patient or clinic is called can become a header.

A lock screen shows the subject and mail lies on other people's machines, so neither says more of health than "shoulder follow-up";
the caution says what to watch for after any operation and is the same for everybody.
"""

import json
from collections.abc import Mapping
from datetime import date
from email.errors import MessageError
from email.headerregistry import Address
from email.message import EmailMessage
from email.policy import SMTP
from email.utils import format_datetime
from functools import cache
from importlib.resources import files
from typing import Any

from server.fields.sender import sender_address
from server.reminders.channels.contract import Notice, TransportProblem

FALLBACK = "en"
WIRE = SMTP.clone(max_line_length=998)  # no folding inside a Message-ID or an address


def compose(notice: Notice, sender: str) -> EmailMessage:
    """`sender` is `name <address>`. Raises TransportProblem when the patient's address cannot be one."""
    text = _text(notice.language)
    words = _words(notice, text)
    message = EmailMessage(policy=WIRE)
    message["Message-ID"] = notice.message_id
    message["Date"] = format_datetime(notice.written_at)
    message["From"] = sender_address(sender)
    message["To"] = _patient_address(notice.to)
    message["Subject"] = _one_line(text["subject"][notice.tone].format(**words))
    message["Auto-Submitted"] = "auto-generated"  # RFC 3834: keeps absence notes from answering
    message.set_content(_body(notice, text, words), charset="utf-8", cte="quoted-printable")
    message["Content-Language"] = notice.language if notice.language in languages() else FALLBACK
    return message


def _patient_address(text: str) -> Address:
    """ASCII only: few mail servers take others (RFC 6531), and a refusal there would look like a fault of ours."""
    try:
        if not text.isascii() or any(character.isspace() or ord(character) < 32 for character in text):
            raise ValueError(text)
        address = Address(addr_spec=text)
        if not address.username or "." not in address.domain:
            raise ValueError(text)
    except (ValueError, IndexError, MessageError) as problem:
        raise TransportProblem("this is no e-mail address", permanent=True) from problem
    return address


@cache
def languages() -> tuple[str, ...]:
    return tuple(sorted(file.name.removesuffix(".json") for file in _folder().iterdir() if file.name.endswith(".json")))


@cache
def _text(language: str) -> Mapping[str, Any]:
    name = language if language in languages() else FALLBACK
    found: dict[str, Any] = json.loads((_folder() / f"{name}.json").read_text(encoding="utf-8"))
    return found


def _folder() -> Any:
    return files("server.reminders.channels.email") / "text"


def _words(notice: Notice, text: Mapping[str, Any]) -> dict[str, str]:
    clinic, many = notice.clinic, text["minutes"]["one" if notice.minutes == 1 else "other"]
    side = notice.sides[0] if len(notice.sides) == 1 else "both"
    words = {
        "first_name": notice.first_name,
        "clinic": clinic.name,
        "phone": clinic.phone,
        "phone_hours": clinic.phone_hours,
        "closed_phone": clinic.closed_phone,
        "emergency_number": clinic.emergency_number,
        "minutes": many.format(minutes=notice.minutes),
        "shoulder": text["shoulder"][side],
        "due": _day(notice.due_on, text),
        "closes": _day(notice.closes_on, text),
    }
    return {key: _one_line(word) for key, word in words.items()}


def _one_line(text: str) -> str:
    return " ".join(text.split())


def _day(day: date | None, text: Mapping[str, Any]) -> str:
    if day is None:
        return ""
    weekday, month = text["weekdays"][day.weekday()], text["months"][day.month - 1]
    written: str = text["date"].format(weekday=weekday, day=day.day, month=month, year=day.year)
    return written


def _body(notice: Notice, text: Mapping[str, Any], words: Mapping[str, str]) -> str:
    paragraphs = [
        text["greeting"],
        text["opening"][notice.tone],
        text["deadline"][_deadline(notice)],
        text["link"],
        "{url}",
        text["link_after"],
        "\n".join(text["caution"]),
        text["stop"],
        "{clinic}",
        *([text["demo"]] if notice.clinic.demo else []),
    ]
    return "\n\n".join(paragraph.format(url=notice.url, **words) for paragraph in paragraphs) + "\n"


def _deadline(notice: Notice) -> str:
    if notice.due_on is None:
        return "neither" if notice.closes_on is None else "closes"
    return "due" if notice.closes_on is None else "due_and_closes"
