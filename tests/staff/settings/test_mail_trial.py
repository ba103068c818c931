"""A test message to the data manager's own address, and what the page says became of it."""

from dataclasses import replace
from datetime import timedelta

import pytest

from server.config import read_settings
from server.models import Restoration
from tests.reminders.peer import USER, Peer, free_port, mail_server
from tests.staff.staff_case import Staff, StaffCase

# What a page says is the same on either database.
pytestmark = pytest.mark.parametrize("database_url", ["sqlite"], indirect=True, scope="module")


@pytest.fixture
def manager(staff: StaffCase) -> Staff:
    return staff.sign_in("data_manager")


def sends_by(staff: StaffCase, port: int, **settings: str) -> None:
    runtime = staff.case.runtime
    environment = {"YEARMARK_SMTP": f"127.0.0.1:{port}", **settings}
    staff.app.extensions["yearmark"] = replace(runtime, settings=read_settings(environment, data=runtime.settings.data))


def sent(manager: Staff) -> str:
    answer = manager.post("/settings/test-message")
    assert answer.status_code == 200
    return " ".join(answer.text.split())


def test_it_goes_to_ones_own_address_and_the_page_says_where_to_look(staff: StaffCase, manager: Staff) -> None:
    assert 'href="/settings/test-message"' in manager.get("/settings").text
    with mail_server() as peer:
        sends_by(staff, peer.port)
        shown = manager.get("/settings/test-message").text
        assert "data_manager@clinic.example" in shown and f"127.0.0.1:{peer.port}" in shown
        assert peer.taken == []
        assert "took the message over" in sent(manager)
    (message,) = peer.taken
    assert (str(message["To"]), str(message["Subject"])) == ("data_manager@clinic.example", "Test message")


@pytest.mark.parametrize(
    ("answer", "says"),
    [
        ({"at_sender": "553 not yours"}, ("takes no mail from the sender", "553 not yours")),
        ({"at_recipient": "550 who is that"}, ("takes no mail for data_manager@clinic.example", "550 who is that")),
        ({"after_data": "554 <b>junk</b>"}, ("refused the message itself", "554 &lt;b&gt;junk")),
    ],
)
def test_what_the_mail_server_refuses_is_said_with_its_answer(
    staff: StaffCase, manager: Staff, answer: dict[str, str], says: tuple[str, str]
) -> None:
    with mail_server() as peer:
        sends_by(staff, peer.port)
        _let(peer, answer)
        shown = sent(manager)
    assert says[0] in shown and says[1] in shown
    assert "took the message over" not in shown


def _let(peer: Peer, answer: dict[str, str]) -> None:
    for name, text in answer.items():
        setattr(peer, name, text)


@pytest.mark.filterwarnings("ignore:Requiring AUTH while not requiring TLS")
def test_a_wrong_password_is_called_that(staff: StaffCase, manager: Staff) -> None:
    with mail_server(sign_in=True) as peer:
        sends_by(staff, peer.port, YEARMARK_SMTP_USER=USER, YEARMARK_SMTP_PASSWORD="not that one")
        shown = sent(manager)
    assert "did not take the account or its password" in shown and "535" in shown
    assert "not that one" not in shown


def test_without_a_connection_the_page_says_where_it_was_sought(staff: StaffCase, manager: Staff) -> None:
    port = free_port()
    sends_by(staff, port)
    assert f"No connection to 127.0.0.1:{port}" in sent(manager)


def test_without_a_mail_server_it_says_that_nobody_gets_it(manager: Staff) -> None:
    assert "It lies in the mailbox folder." in sent(manager)


def test_a_restored_clinic_sends_none_before_its_release(staff: StaffCase, manager: Staff) -> None:
    now = staff.case.now
    with staff.case.store.writing() as session:
        session.add(Restoration(restored_at=now, backup_id="ab" * 16, backup_made_at=now - timedelta(days=1)))
    with mail_server() as peer:
        sends_by(staff, peer.port)
        assert "waits for its release" in manager.get("/settings/test-message").text
        assert "Nothing was sent: this clinic was restored" in sent(manager)
    assert peer.taken == []
