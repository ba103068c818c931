"""Hands a message to the clinic's mail server. TLS whenever it offers it; the password only under TLS or on this machine."""

import ipaddress
import smtplib
import ssl
from dataclasses import dataclass, field
from email.message import EmailMessage

from server.reminders.channels.contract import TransportProblem

TIMEOUT_SECONDS = 30.0
TLS_FROM_THE_START = 465


@dataclass(frozen=True)
class SmtpTransport:
    host: str
    port: int
    user: str = ""
    password: str = field(default="", repr=False)
    timeout: float = TIMEOUT_SECONDS
    tls: ssl.SSLContext | None = None

    def deliver(self, message: EmailMessage, *, sender: str, recipient: str) -> None:
        """Returns once the server has answered for the whole message. Raises TransportProblem.

        Refusals of this recipient or this message (5xx to RCPT or DATA) are permanent. Anything else, a wrong password
        included, is the clinic's to mend and tried again.
        """
        connection = self._reached()
        try:
            self._hand_over(connection, message, sender, recipient)
        finally:
            _leave(connection)

    def greet(self) -> None:
        """Whether it would serve us now: signs in and leaves. Raises TransportProblem."""
        _leave(self._reached())

    def _reached(self) -> smtplib.SMTP:
        try:
            return self._connect()
        except smtplib.SMTPResponseException as problem:
            raise _temporary(f"the mail server does not serve us ({problem.smtp_code})") from problem
        except (OSError, smtplib.SMTPException) as problem:
            raise _temporary(f"the mail server cannot be reached ({type(problem).__name__})") from problem

    def _connect(self) -> smtplib.SMTP:
        context = self.tls or self._context()
        if self.port == TLS_FROM_THE_START:
            connection: smtplib.SMTP = smtplib.SMTP_SSL(self.host, self.port, timeout=self.timeout, context=context)
        else:
            connection = smtplib.SMTP(self.host, self.port, timeout=self.timeout)
        try:
            self._introduce(connection, context)
        except BaseException:
            connection.close()
            raise
        return connection

    def _introduce(self, connection: smtplib.SMTP, context: ssl.SSLContext) -> None:
        connection.ehlo_or_helo_if_needed()
        secret = isinstance(connection, smtplib.SMTP_SSL)
        if not secret and connection.has_extn("starttls"):
            connection.starttls(context=context)
            connection.ehlo()
            secret = True
        if not self.user:
            return
        if not secret and not self._is_here():
            raise _temporary("the mail server offers no TLS; the password was not sent")
        connection.login(self.user, self.password)

    def _context(self) -> ssl.SSLContext:
        context = ssl.create_default_context()
        if self._is_here():  # a relay on this machine has a certificate of its own making, and nobody stands between
            context.check_hostname, context.verify_mode = False, ssl.CERT_NONE
        return context

    def _is_here(self) -> bool:
        try:
            return self.host == "localhost" or ipaddress.ip_address(self.host).is_loopback
        except ValueError:
            return False

    def _hand_over(self, connection: smtplib.SMTP, message: EmailMessage, sender: str, recipient: str) -> None:
        try:
            connection.sendmail(sender, [recipient], message.as_bytes())
        except smtplib.SMTPRecipientsRefused as problem:
            code = next(iter(problem.recipients.values()))[0]
            raise TransportProblem(f"the address was refused ({code})", permanent=code >= 500) from problem
        except smtplib.SMTPDataError as problem:
            code = problem.smtp_code
            raise TransportProblem(f"the message was refused ({code})", permanent=code >= 500) from problem
        except smtplib.SMTPResponseException as problem:
            raise _temporary(f"the mail server refused to take mail from us ({problem.smtp_code})") from problem
        except (OSError, smtplib.SMTPException) as problem:
            # Perhaps it was taken over and only the answer was lost: sent again with the same Message-ID.
            raise _temporary(f"the connection broke off ({type(problem).__name__})") from problem


def _temporary(summary: str) -> TransportProblem:
    return TransportProblem(summary, permanent=False)


def _leave(connection: smtplib.SMTP) -> None:
    """What goes wrong after the message was taken over no longer matters."""
    try:
        connection.quit()
    except (OSError, smtplib.SMTPException):
        connection.close()
