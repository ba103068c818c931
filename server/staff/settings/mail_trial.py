"""A test message to the data manager's own address, and in plain words what became of it.

What the mail server said is shown to whoever asked, since it is about their own address and helps whoever runs that server. It is
neither kept nor logged.
"""

import smtplib
import ssl
from dataclasses import dataclass
from socket import gaierror

from flask import render_template
from sqlalchemy.orm import Session

from server.config import Settings
from server.fields.sender import NoSender
from server.queries.clock import the_clinic
from server.queries.restored import waits_for_release
from server.reminders.channels.contract import TransportProblem
from server.reminders.channels.email.compose import PlainMail
from server.reminders.staff_mail import new_message_id, send_to_staff
from server.staff.page import words
from server.staff.page.database import reading
from server.staff.page.request_context import request_context, runtime, signed_in
from server.words.phrase import Phrase, phrase


@dataclass(frozen=True)
class Became:
    """`answered`: the mail server's own words, in whatever language it speaks."""

    said: Phrase
    left: bool = False
    answered: str = ""


@dataclass(frozen=True)
class Way:
    """How a message would leave. `waits`: a restored clinic sends nothing before its release."""

    to: str
    clinics_sender: str | None
    waits: bool

    @property
    def sender(self) -> str:
        return self.clinics_sender or runtime().settings.mail_from

    @property
    def server(self) -> str:
        return _named(runtime().settings)


def mail_trial_page() -> str:
    with reading() as session:
        way = _way(session)
    return _render(way, None)


def send_test_message() -> str:
    """Sends one and shows what became of it. To press it again sends another."""
    with reading() as session:
        way = _way(session)
    became = (
        Became(phrase("Nothing was sent: this clinic was restored and waits for its release."))
        if way.waits
        else _sent(way)
    )
    return _render(way, became)


def _way(session: Session) -> Way:
    return Way(signed_in().email, the_clinic(session).mail_from, waits=waits_for_release(session) is not None)


def _render(way: Way, became: Became | None) -> str:
    return render_template(
        "staff/settings/mail_trial.html", way=way, became=became, said=words.say(became.said) if became else ""
    )


def _sent(way: Way) -> Became:
    settings = runtime().settings
    mail = PlainMail(
        message_id=new_message_id(request_context().base_url),
        to=way.to,
        language=words.spoken().language,
        subject=words.gettext("Test message"),
        text=words.gettext(
            "This is a test message of %(clinic)s. It arrived, so messages to patients leave this way too.\n\n"
            "Look at its source: Authentication-Results should say pass for SPF, DKIM and DMARC.\n"
        )
        % {"clinic": request_context().clinic_name},
        written_at=request_context().real_now,
    )
    try:
        send_to_staff(settings, way.clinics_sender, mail)
    except NoSender:
        return Became(phrase("Nothing was sent: the clinic's sender holds no address. Change it under Settings."))
    except TransportProblem as problem:
        return _why(problem.__cause__, way, settings)
    if settings.smtp is None:
        return Became(phrase("It lies in the mailbox folder. It reaches nobody unless somebody sends it from there."))
    return Became(
        phrase("The mail server took the message over. Look whether it arrives at %(to)s, also among junk.", to=way.to),
        left=True,
    )


def _why(cause: BaseException | None, way: Way, settings: Settings) -> Became:
    """By what kind of failure it was; the first that fits, from the narrow to the wide."""
    server = _named(settings)
    kinds: tuple[tuple[type[BaseException], Phrase], ...] = (
        (
            smtplib.SMTPAuthenticationError,
            phrase(
                "%(server)s did not take the account or its password. Put them right in yearmark.env and start the server again.",
                server=server,
            ),
        ),
        (
            smtplib.SMTPSenderRefused,
            phrase(
                "%(server)s takes no mail from the sender %(sender)s. Ask whoever runs it to allow that, or change the sender.",
                server=server,
                sender=way.sender,
            ),
        ),
        (
            smtplib.SMTPRecipientsRefused,
            phrase("%(server)s takes no mail for %(to)s. Is that your address?", server=server, to=way.to),
        ),
        (
            smtplib.SMTPDataError,
            phrase("%(server)s refused the message itself. Ask whoever runs it why.", server=server),
        ),
        (
            smtplib.SMTPException,
            phrase("%(server)s answered, and does not serve us. Ask whoever runs it why.", server=server),
        ),
        (
            ssl.SSLError,
            phrase(
                "The certificate of %(server)s is not good for that name, or has run out. Nothing was sent to it.",
                server=server,
            ),
        ),
        (
            gaierror,
            phrase(
                "No machine of the name in %(server)s was found. Look at YEARMARK_SMTP in yearmark.env.", server=server
            ),
        ),
        (
            OSError,
            phrase(
                "No connection to %(server)s. Look at YEARMARK_SMTP in yearmark.env, and whether a firewall is between.",
                server=server,
            ),
        ),
        (ValueError, phrase("%(to)s is no address to which mail can be sent.", to=way.to)),
    )
    if settings.smtp is None:
        return Became(phrase("The mailbox folder cannot be written. Is the disk full?"))
    for kind, said in kinds:
        if isinstance(cause, kind):
            return Became(said, answered=_answer(cause))
    return Became(phrase("%(server)s offers no encryption, so the password was not sent to it.", server=server))


def _named(settings: Settings) -> str:
    return f"{settings.smtp[0]}:{settings.smtp[1]}" if settings.smtp else ""


def _answer(cause: BaseException | None) -> str:
    """Code and words of an SMTP answer, on one line; empty where nothing answered."""
    text: bytes | str
    if isinstance(cause, smtplib.SMTPRecipientsRefused):
        code, text = next(iter(cause.recipients.values()))
    elif isinstance(cause, smtplib.SMTPResponseException):
        code, text = cause.smtp_code, cause.smtp_error
    else:
        return ""
    said = text.decode(errors="replace") if isinstance(text, bytes) else str(text)
    return f"{code} {' '.join(said.split())}"[:300]
