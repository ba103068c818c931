"""Whether the mail server answers, and whether the certificate that phones see is good. Each waits some seconds at most."""

import socket
import ssl
from datetime import UTC, datetime, timedelta
from urllib.parse import urlsplit

from server.config import Settings
from server.installation.checks_of_the_address import is_example
from server.installation.finding import Finding
from server.reminders.channels.contract import TransportProblem
from server.reminders.channels.email.smtp import SmtpTransport
from server.words.phrase import Phrase, phrase

SECONDS = 4.0
HTTPS_PORT = 443
DAYS_BEFORE_THE_END = 14
# X509_V_ERR_… of OpenSSL: issuer not known or not sent, signed by itself, or by an authority of its own
UNKNOWN_ISSUER = (2, 18, 19, 20, 21)


def mail_server_answers(settings: Settings) -> Finding:
    """With the clinic's account and password, and without sending anything."""
    if settings.smtp is None:
        return _no_mail_server(settings)
    host, port = settings.smtp
    named = f"{host}:{port}"
    try:
        SmtpTransport(host, port, settings.smtp_user, settings.smtp_password, timeout=SECONDS).greet()
    except TransportProblem as problem:
        return Finding(
            "mail",
            phrase("Mail cannot be sent by %(host)s now: %(reason)s.", host=named, reason=problem.summary),
            phrase(
                "Look at YEARMARK_SMTP, its user and its password in yearmark.env in the data folder, and whether a firewall lets "
                "this machine out. Reminders wait meanwhile and are tried again."
            ),
        )
    return Finding("mail", phrase("The mail server %(host)s answers.", host=named))


def _no_mail_server(settings: Settings) -> Finding:
    if settings.smtp_is_set:
        return Finding(
            "mail", phrase("Messages are written to the folder mailbox, and somebody sends them from there.")
        )
    return Finding(
        "mail",
        phrase("There is no mail server, so nobody is reminded."),
        phrase("On the server: name one as YEARMARK_SMTP in yearmark.env in the data folder, and start it again."),
    )


def certificate_is_good(base_url: str, now: datetime) -> Finding:
    """As a phone would judge it: known issuer, this host's name, not run out, and that not soon either."""
    parts = urlsplit(base_url)
    host, port = parts.hostname or "", parts.port or HTTPS_PORT
    if parts.scheme != "https" or (is_example(host) and host != "localhost"):
        return Finding("certificate", *_NOTHING_TO_ASK)
    try:
        ends_at = certificate_ends_at(host, port)
    except ssl.SSLCertVerificationError as problem:
        what = phrase(
            "Phones refuse the certificate of %(host)s: %(reason)s.", host=host, reason=problem.verify_message
        )
        return Finding("certificate", what, _OF_A_KNOWN_ISSUER if problem.verify_code in UNKNOWN_ISSUER else _RENEW)
    except (OSError, ValueError) as problem:
        reason = getattr(problem, "strerror", None) or str(problem) or type(problem).__name__
        what = phrase("%(host)s gave no answer by HTTPS: %(reason)s.", host=parts.netloc, reason=reason)
        return Finding("certificate", what, _NO_ANSWER)
    if ends_at < now + timedelta(days=DAYS_BEFORE_THE_END):
        return Finding(
            "certificate", phrase("The certificate of %(host)s ends on %(on)s.", host=host, on=ends_at.date()), _RENEW
        )
    return Finding(
        "certificate", phrase("The certificate of %(host)s is good until %(on)s.", host=host, on=ends_at.date())
    )


def certificate_ends_at(host: str, port: int) -> datetime:
    """Raises SSLCertVerificationError for one that phones refuse, OSError without an answer."""
    context = ssl.create_default_context()
    with (
        socket.create_connection((host, port), timeout=SECONDS) as plain,
        context.wrap_socket(plain, server_hostname=host) as secure,
    ):
        found = secure.getpeercert() or {}
    return datetime.fromtimestamp(ssl.cert_time_to_seconds(str(found["notAfter"])), UTC)


_RENEW = phrase(
    "Renew it where the web server in front keeps it; Caddy does so by itself. Until then phones open nothing, and answers wait on them."
)
_OF_A_KNOWN_ISSUER = phrase(
    "No phone trusts who issued it. Get one from a public authority for the web server in front; Caddy does so by itself. Until then "
    "phones open nothing, and answers wait on them."
)
_NO_ANSWER = phrase("Start the web server in front, and look whether name and firewall lead to it from here.")
_NOTHING_TO_ASK: tuple[Phrase, Phrase] = (
    phrase("No certificate can be looked at: there is no https address of the clinic's own."),
    phrase("Enter the clinic's own https address in the settings, then look again."),
)
