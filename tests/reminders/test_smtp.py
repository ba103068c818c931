"""Handing a message to a real mail server, and each way in which that can fail."""

import socket
import ssl
from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest
from cryptography import x509
from cryptography.hazmat.primitives import hashes, serialization
from cryptography.hazmat.primitives.asymmetric import ec
from cryptography.x509.oid import NameOID

from server.config import read_settings
from server.reminders.channels.contract import TransportProblem
from server.reminders.channels.email.channel import EmailChannel, email_channel, mail_problem
from server.reminders.channels.email.mailbox import MailboxTransport
from server.reminders.channels.email.smtp import SmtpTransport
from tests.reminders.peer import DROP, PASSWORD, USER, Peer, mail_server
from tests.reminders.test_email_text import NOTICE, SENDER


@pytest.fixture
def peer() -> Iterator[Peer]:
    with mail_server() as running:
        yield running


def channel(port: int, **options: object) -> EmailChannel:
    return EmailChannel(SENDER, SmtpTransport("127.0.0.1", port, timeout=10, **options))  # type: ignore[arg-type]


def failure(sender: EmailChannel) -> TransportProblem:
    with pytest.raises(TransportProblem) as problem:
        sender.send(NOTICE)
    assert "ada" not in problem.value.summary
    return problem.value


def test_a_message_arrives_as_it_was_composed(peer: Peer) -> None:
    channel(peer.port).send(NOTICE)
    assert peer.message_ids() == [NOTICE.message_id]
    assert peer.taken[0]["Subject"] == "Clínica Río: your shoulder follow-up, about 5 minutes"
    assert NOTICE.url in peer.taken[0].get_content()


@pytest.mark.parametrize(
    ("where", "answer", "permanent", "summary"),
    [
        ("at_recipient", "550 ada is unknown here", True, "the address was refused (550)"),
        ("at_recipient", "450 ada's mailbox is busy", False, "the address was refused (450)"),
        ("at_recipient", "421 closing, ada", False, "the address was refused (421)"),
        ("after_data", "554 we do not like ada's message", True, "the message was refused (554)"),
        ("after_data", "421 going down, ada", False, "the message was refused (421)"),
        ("at_sender", "550 who are you", False, "the mail server refused to take mail from us (550)"),
    ],
)
def test_only_what_the_server_has_against_this_patient_or_message_is_for_good(
    peer: Peer, where: str, answer: str, permanent: bool, summary: str
) -> None:
    setattr(peer, where, answer)
    problem = failure(channel(peer.port))
    assert (problem.permanent, problem.summary) == (permanent, summary)
    assert peer.taken == []
    channel(peer.port).send(NOTICE)
    assert len(peer.taken) == 1


def test_a_connection_lost_after_the_message_is_tried_again_under_the_same_message_id(peer: Peer) -> None:
    peer.after_data = DROP
    assert not failure(channel(peer.port)).permanent
    channel(peer.port).send(NOTICE)
    assert peer.message_ids() == [NOTICE.message_id] * 2


def test_a_server_that_is_not_there_is_tried_again() -> None:
    with socket.socket() as taken:
        taken.bind(("127.0.0.1", 0))
        problem = failure(channel(taken.getsockname()[1]))
    assert (problem.permanent, problem.summary) == (False, "the mail server cannot be reached (ConnectionRefusedError)")


def test_a_server_that_never_answers_is_given_up_after_the_timeout() -> None:
    with socket.socket() as silent:
        silent.bind(("127.0.0.1", 0))
        silent.listen(1)
        transport = SmtpTransport("127.0.0.1", silent.getsockname()[1], timeout=0.1)
        problem = failure(EmailChannel(SENDER, transport))
    assert (problem.permanent, problem.summary) == (False, "the mail server cannot be reached (SMTPServerDisconnected)")


@pytest.fixture(scope="module")
def certificate(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Key and self-signed certificate of 127.0.0.1 in one PEM file."""
    key, name = ec.generate_private_key(ec.SECP256R1()), x509.Name([x509.NameAttribute(NameOID.COMMON_NAME, "here")])
    now = datetime.now(UTC)
    made = (
        x509.CertificateBuilder(name, name, key.public_key(), x509.random_serial_number())
        .not_valid_before(now - timedelta(days=1))
        .not_valid_after(now + timedelta(days=1))
        .add_extension(x509.SubjectAlternativeName([x509.DNSName("mail.clinic.example")]), critical=False)
        .sign(key, hashes.SHA256())
    )
    plain = serialization.NoEncryption()
    private = key.private_bytes(serialization.Encoding.PEM, serialization.PrivateFormat.PKCS8, plain)
    file = tmp_path_factory.mktemp("tls") / "here.pem"
    file.write_bytes(private + made.public_bytes(serialization.Encoding.PEM))
    return file


def server_side(certificate: Path) -> ssl.SSLContext:
    context = ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER)
    context.load_cert_chain(certificate)
    return context


def test_tls_is_used_when_offered_and_carries_the_password(certificate: Path) -> None:
    with mail_server(tls=server_side(certificate), sign_in=True) as peer:
        channel(peer.port, user=USER, password=PASSWORD).send(NOTICE)
        assert peer.signed_in == [USER.encode()]
        assert peer.message_ids() == [NOTICE.message_id]


def test_a_wrong_password_is_the_clinics_to_mend(certificate: Path) -> None:
    with mail_server(tls=server_side(certificate), sign_in=True) as peer:
        problem = failure(channel(peer.port, user=USER, password="wrong"))
        assert (problem.permanent, problem.summary) == (False, "the mail server does not serve us (535)")
        assert peer.taken == []


def test_a_server_whose_certificate_nobody_vouches_for_gets_nothing(certificate: Path) -> None:
    with mail_server(tls=server_side(certificate), sign_in=True) as peer:
        strict = channel(peer.port, user=USER, password=PASSWORD, tls=ssl.create_default_context())
        problem = failure(strict)
        assert (problem.permanent, peer.signed_in, peer.taken) == (False, [], [])
        assert problem.summary == "the mail server cannot be reached (SSLCertVerificationError)"


def test_the_password_is_not_sent_in_the_clear_to_another_machine(peer: Peer, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(SmtpTransport, "_is_here", lambda _transport: False)
    problem = failure(channel(peer.port, user=USER, password=PASSWORD))
    assert problem.summary == "the mail server offers no TLS; the password was not sent"
    assert not problem.permanent


def test_the_settings_say_which_way_mail_leaves(tmp_path: Path) -> None:
    by_server = email_channel(
        read_settings({"YEARMARK_SMTP": "mail.clinic.example:587"}, data=tmp_path), None
    ).transport
    assert isinstance(by_server, SmtpTransport)
    assert (by_server.host, by_server.port) == ("mail.clinic.example", 587)
    assert "secret" not in repr(SmtpTransport("h", 1, "u", "secret"))


def test_a_sender_setting_without_an_address_stops_the_start(tmp_path: Path) -> None:
    with pytest.raises(ValueError, match="is no sender"):
        email_channel(read_settings({"YEARMARK_MAIL_FROM": "the clinic"}, data=tmp_path), None)


OWN = "Harbour follow-up <follow-up@harbour-shoulder.test>"


@pytest.mark.parametrize(
    ("given", "says"),
    [
        ({"YEARMARK_MAIL_FROM": OWN}, "set YEARMARK_SMTP to host:port"),
        ({"YEARMARK_SMTP": "mail.harbour-shoulder.test:587"}, "set YEARMARK_MAIL_FROM"),
        ({"YEARMARK_SMTP": "mailbox"}, "set YEARMARK_MAIL_FROM"),
        ({"YEARMARK_SMTP": "mailbox", "YEARMARK_MAIL_FROM": "the clinic"}, "write name <address>, such as"),
        ({"YEARMARK_SMTP": "mailbox", "YEARMARK_MAIL_FROM": "clinic <a@>"}, "write name <address>"),
        ({"YEARMARK_SMTP": "mailbox", "YEARMARK_MAIL_FROM": OWN}, None),
        ({"YEARMARK_SMTP": "mail.harbour-shoulder.test:587", "YEARMARK_MAIL_FROM": OWN}, None),
    ],
)
def test_a_live_clinic_says_where_its_mail_goes_and_who_sends_it(
    given: dict[str, str], says: str | None, tmp_path: Path
) -> None:
    found = mail_problem(read_settings(given, data=tmp_path), None, live=True)
    assert found is None if says is None else says in str(found)


def test_a_demo_writes_to_its_folder_without_being_told(tmp_path: Path) -> None:
    settings = read_settings({}, data=tmp_path)
    assert mail_problem(settings, None, live=False) is None
    assert isinstance(email_channel(settings, None).transport, MailboxTransport)


def test_the_folder_can_be_asked_for_by_its_word(tmp_path: Path) -> None:
    settings = read_settings({"YEARMARK_SMTP": "mailbox"}, data=tmp_path)
    assert email_channel(settings, None).transport == MailboxTransport(tmp_path / "mailbox")
