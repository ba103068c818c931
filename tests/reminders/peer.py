"""A real mail server that listens on this machine, keeps what it takes and fails when told to."""

import asyncio
import socket
import ssl
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from email import message_from_bytes, policy
from email.message import EmailMessage
from typing import Any

from aiosmtpd.controller import Controller
from aiosmtpd.smtp import SMTP, AuthResult, Envelope, LoginPassword, Session

DROP = "drop the connection"
USER, PASSWORD = "clinic", "a password that is sent to nobody else"


@dataclass
class Peer:
    """`taken`: what it answered 250 for, or would have. The three answers are for the next message only, then as usual."""

    taken: list[EmailMessage] = field(default_factory=list)
    signed_in: list[bytes] = field(default_factory=list)
    at_sender: str | None = None
    at_recipient: str | None = None
    after_data: str | None = None
    port: int = 0

    def message_ids(self) -> list[str]:
        return [str(message["Message-ID"]) for message in self.taken]

    async def handle_MAIL(  # noqa: N802 (aiosmtpd's name)
        self, server: SMTP, session: Session, envelope: Envelope, address: str, options: list[str]
    ) -> str:
        answer, self.at_sender = self.at_sender, None
        if answer is None:
            envelope.mail_from = address
        return answer or "250 OK"

    async def handle_RCPT(  # noqa: N802
        self, server: SMTP, session: Session, envelope: Envelope, address: str, options: list[str]
    ) -> str:
        answer, self.at_recipient = self.at_recipient, None
        if answer is None:
            envelope.rcpt_tos.append(address)
        return answer or "250 OK"

    async def handle_DATA(self, server: SMTP, session: Session, envelope: Envelope) -> str:  # noqa: N802
        answer, self.after_data = self.after_data, None
        if answer in (None, DROP):
            content = envelope.content
            assert isinstance(content, bytes)
            message = message_from_bytes(content, policy=policy.default)
            assert isinstance(message, EmailMessage)
            self.taken.append(message)
        if answer == DROP:
            transport: Any = server.transport
            transport.abort()
            await asyncio.sleep(0)
        return answer if answer not in (None, DROP) else "250 OK"

    def authenticate(self, server: SMTP, session: Session, envelope: Envelope, mechanism: str, data: Any) -> AuthResult:
        assert isinstance(data, LoginPassword)
        right = (data.login, data.password) == (USER.encode(), PASSWORD.encode())
        self.signed_in += [data.login] if right else []
        return AuthResult(success=right, handled=False)


@contextmanager
def mail_server(*, tls: ssl.SSLContext | None = None, sign_in: bool = False) -> Iterator[Peer]:
    peer = Peer()
    options: dict[str, Any] = {"tls_context": tls, "auth_require_tls": tls is not None}
    if sign_in:
        options |= {"authenticator": peer.authenticate, "auth_required": True}
    peer.port = free_port()
    controller = Controller(peer, hostname="127.0.0.1", port=peer.port, **options)
    controller.start()
    try:
        yield peer
    finally:
        controller.stop()


def free_port() -> int:
    """One that nobody listens on now; aiosmtpd cannot be asked which one it took."""
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        port: int = probe.getsockname()[1]
        return port
