"""A notice as an e-mail: plain text, composed from subject.txt and body.txt beside this file.

Nothing a patient or clinic is called can become a header.

A lock screen shows the subject and mail lies on other people's machines, so neither says more of health than "shoulder follow-up";
the caution says what to watch for after any operation and is the same for everybody.
"""

from dataclasses import dataclass
from datetime import datetime
from email.errors import MessageError
from email.headerregistry import Address
from email.message import EmailMessage
from email.policy import SMTP
from email.utils import format_datetime

from jinja2 import Environment, PackageLoader, StrictUndefined

from server.fields.sender import sender_address
from server.reminders.channels.contract import Notice, TransportProblem
from server.words.language import Words
from server.words.phrase import phrase
from server.words.templates import add_translation

WIRE = SMTP.clone(max_line_length=998)  # no folding inside a Message-ID or an address
TEMPLATES = Environment(
    loader=PackageLoader("server.reminders.channels.email", "."),
    autoescape=False,  # plain text
    keep_trailing_newline=True,
    undefined=StrictUndefined,
)
add_translation(TEMPLATES)
SHOULDERS = {
    "left": phrase("your left shoulder"),
    "right": phrase("your right shoulder"),
    "both": phrase("both your shoulders"),
}


@dataclass(frozen=True)
class PlainMail:
    """A finished text for one address. `message_id` is the same whenever this message is sent again."""

    message_id: str
    to: str
    language: str
    subject: str
    text: str
    written_at: datetime


def compose(notice: Notice, sender: str) -> EmailMessage:
    """`sender` is `name <address>`. Raises TransportProblem when the patient's address cannot be one."""
    words = Words("patient", notice.language)
    values = {**_values(notice, words), "notice": notice, "words": words}
    plain = PlainMail(
        message_id=notice.message_id,
        to=notice.to,
        language=words.language,
        subject=TEMPLATES.get_template("subject.txt").render(values),
        text=TEMPLATES.get_template("body.txt").render(values),
        written_at=notice.written_at,
    )
    return compose_plain(plain, sender)


def compose_plain(plain: PlainMail, sender: str) -> EmailMessage:
    """`sender` is `name <address>`. Raises TransportProblem when the address it goes to cannot be one."""
    mail = EmailMessage(policy=WIRE)
    mail["Message-ID"] = plain.message_id
    mail["Date"] = format_datetime(plain.written_at)
    mail["From"] = sender_address(sender)
    mail["To"] = _recipient_address(plain.to)
    mail["Subject"] = _one_line(plain.subject)
    mail["Auto-Submitted"] = "auto-generated"  # RFC 3834: keeps absence notes from answering
    mail.set_content(plain.text, charset="utf-8", cte="quoted-printable")
    mail["Content-Language"] = plain.language
    return mail


def _recipient_address(text: str) -> Address:
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


def _values(notice: Notice, words: Words) -> dict[str, str]:
    """What the templates put into their sentences, each on one line, so that none becomes a header or a paragraph."""
    clinic = notice.clinic
    values = {
        "first_name": notice.first_name,
        "clinic": clinic.name,
        "phone": clinic.phone,
        "phone_hours": clinic.phone_hours,
        "closed_phone": clinic.closed_phone,
        "emergency_number": clinic.emergency_number,
        "minutes": words.ngettext("about one minute", "about %(minutes)s minutes", notice.minutes)
        % {"minutes": words.count(notice.minutes)},
        "shoulder": words.say(SHOULDERS[notice.sides[0] if len(notice.sides) == 1 else "both"]),
        "due": words.weekday_and_day(notice.due_on),
        "closes": words.weekday_and_day(notice.closes_on),
    }
    return {name: _one_line(value) for name, value in values.items()}


def _one_line(text: str) -> str:
    return " ".join(text.split())
