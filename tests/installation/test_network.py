"""A mail server that does not serve us, and a certificate that phones would refuse: found against real servers on this machine."""

import socket
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import timedelta
from pathlib import Path

import pytest

from server.config import read_settings
from server.installation.checks_over_the_network import certificate_is_good, mail_server_answers
from server.installation.finding import Finding
from tests.installation.tls import NOW, behind_tls, certificate
from tests.reminders.peer import mail_server


def said(finding: Finding) -> str:
    assert not finding.ready
    return finding.what.text % finding.what.values


def mail(tmp_path: Path, **settings: str) -> Finding:
    return mail_server_answers(read_settings(settings, data=tmp_path))


@contextmanager
def closed_port() -> Iterator[int]:
    """Taken, and nobody listens."""
    with socket.socket() as taken:
        taken.bind(("127.0.0.1", 0))
        yield taken.getsockname()[1]


def test_a_mail_server_that_answers_is_ready_and_nothing_was_sent(tmp_path: Path) -> None:
    with mail_server() as peer:
        assert mail(tmp_path, YEARMARK_SMTP=f"127.0.0.1:{peer.port}").ready
        assert peer.taken == []


def test_a_mail_server_that_is_not_there_is_found(tmp_path: Path) -> None:
    with closed_port() as port:
        told = said(mail(tmp_path, YEARMARK_SMTP=f"127.0.0.1:{port}"))
    assert f"127.0.0.1:{port}" in told and "cannot be reached" in told


def test_a_password_that_the_mail_server_refuses_is_found(tmp_path: Path) -> None:
    with mail_server() as peer:
        account = {"YEARMARK_SMTP_USER": "clinic", "YEARMARK_SMTP_PASSWORD": "wrong"}
        told = said(mail(tmp_path, YEARMARK_SMTP=f"127.0.0.1:{peer.port}", **account))
    assert "Mail cannot be sent" in told and "wrong" not in told


def test_no_mail_server_is_found_and_a_folder_that_somebody_empties_is_a_choice(tmp_path: Path) -> None:
    assert "nobody is reminded" in said(mail(tmp_path))
    assert mail(tmp_path, YEARMARK_SMTP="mailbox").ready


@pytest.mark.parametrize(
    ("days", "says"),
    [(90, ""), (13, "ends on"), (-1, "certificate has expired")],
)
def test_a_certificate_is_good_until_two_weeks_before_its_end(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, days: int, says: str
) -> None:
    file = certificate(tmp_path, NOW + timedelta(days=days))
    monkeypatch.setenv("SSL_CERT_FILE", str(file))
    with behind_tls(file) as address:
        found = certificate_is_good(address, NOW)
    assert found.ready if not says else says in said(found)


def test_a_certificate_of_an_unknown_issuer_is_found(tmp_path: Path) -> None:
    with behind_tls(certificate(tmp_path, NOW + timedelta(days=90))) as address:
        found = certificate_is_good(address, NOW)
    assert "Phones refuse the certificate of localhost: self-signed" in said(found)
    assert found.do is not None and "from a public authority" in found.do.text and "Renew" not in found.do.text


def test_an_address_that_does_not_answer_is_found() -> None:
    with closed_port() as port:
        assert "gave no answer by HTTPS" in said(certificate_is_good(f"https://localhost:{port}", NOW))


def test_of_an_example_or_plain_http_no_certificate_is_asked() -> None:
    assert "No certificate can be looked at" in said(certificate_is_good("http://127.0.0.1:1", NOW))
    assert "No certificate can be looked at" in said(certificate_is_good("https://a.clinic.example", NOW))
