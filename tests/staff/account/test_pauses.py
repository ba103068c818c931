"""Wrong tries slow down whoever makes them, and keep nobody else out."""

from datetime import timedelta
from typing import Any

import pytest
from flask.testing import FlaskClient
from sqlalchemy import func, select
from werkzeug.test import TestResponse

from server.jobs.clock import keep_house
from server.models import AuditEntry, SignInTries, StaffSession
from server.staff.account import present_password, sign_in
from server.trust.tries import ACCOUNT, ADDRESS, HERE, Client, Limit, count_wrong, password_subject, paused_until
from tests.staff.account.live_case import code_now, give_app, go_live, password_given
from tests.staff.staff_case import PASSWORD, SECRET, StaffCase

# The counting is Python's; each try costs a password's hash.
on_sqlite = pytest.mark.parametrize("database_url", ["sqlite"], indirect=True, scope="module")

NURSE = "nurse@clinic.example"
AT_WORK, ELSEWHERE = "192.0.2.10", "203.0.113.66"
DEVICE = "yearmark-device"


@pytest.fixture(autouse=True)
def quick(monkeypatch: pytest.MonkeyPatch) -> list[str]:
    """In place of argon2, whose work is not looked at here: what was checked."""
    checked: list[str] = []

    def matches(password: str, known: str | None) -> bool:
        checked.append(password)
        return known is not None and password == PASSWORD

    monkeypatch.setattr(sign_in, "password_matches", matches)
    return checked


def send(client: FlaskClient, address: str, password: str, email: str = NURSE) -> TestResponse:
    """Tries to sign in; a session that the browser still has is laid aside."""
    client.delete_cookie("yearmark-staff")
    at: dict[str, Any] = {"environ_overrides": {"REMOTE_ADDR": address}}
    secret = SECRET.findall(client.get("/sign-in", **at).text)[0]
    return client.post("/sign-in", data={"email": email, "password": password, "form_secret": secret}, **at)


def wrong(staff: StaffCase, times: int, client: Client, subject: str = NURSE) -> None:
    with staff.case.store.writing() as session:
        for _try in range(times):
            count_wrong(session, password_subject(subject), client, now=staff.case.now)


def paused(staff: StaffCase, client: Client, subject: str = NURSE) -> bool:
    with staff.case.store.reading() as session:
        return paused_until(session, password_subject(subject), client, now=staff.case.now) is not None


def test_pauses_begin_at_half_a_minute_and_double_up_to_the_longest() -> None:
    seconds = [HERE.pause_after(failures).total_seconds() for failures in (1, 4, 5, 6, 9, 10, 50)]
    assert seconds == [0, 0, 30, 60, 480, 900, 900]
    assert (ADDRESS.pause_after(20), ADDRESS.pause_after(21)) == (timedelta(0), timedelta(seconds=30))
    assert ACCOUNT.pause_after(10_000) == timedelta(hours=1)
    assert Limit(free=0, longest=timedelta(seconds=45)).pause_after(2) == timedelta(seconds=45)


@on_sqlite
def test_wrong_passwords_from_elsewhere_do_not_stop_the_right_one(staff: StaffCase) -> None:
    home, thief = staff.browser(), staff.browser()
    assert send(home, AT_WORK, PASSWORD).status_code == 302
    for _try in range(5):
        assert send(thief, ELSEWHERE, "wrong").status_code == 401
    assert send(thief, ELSEWHERE, "wrong").status_code == 429
    wrong(staff, 500, Client("198.51.100.1"))  # far beyond the limit of the account
    assert send(staff.browser(), "192.0.2.55", PASSWORD).status_code == 429  # a stranger
    assert send(staff.browser(), AT_WORK, PASSWORD).status_code == 302  # known by its address
    wrong(staff, 500, Client("198.51.100.1"))
    assert send(home, "192.0.2.99", PASSWORD).status_code == 302  # known by its device


@on_sqlite
def test_wrong_passwords_in_the_clinic_s_own_network_do_not_stop_a_known_device(staff: StaffCase) -> None:
    home = staff.browser()
    send(home, AT_WORK, PASSWORD)
    wrong(staff, 30, Client(AT_WORK))
    assert send(staff.browser(), AT_WORK, PASSWORD).status_code == 429
    assert send(home, AT_WORK, PASSWORD).status_code == 302


@on_sqlite
def test_a_device_that_nobody_signed_in_with_is_a_stranger(staff: StaffCase) -> None:
    wrong(staff, 60, Client("198.51.100.1"))
    client = staff.browser()
    client.set_cookie(DEVICE, "made up by somebody")
    assert send(client, ELSEWHERE, PASSWORD).status_code == 429


@on_sqlite
def test_in_a_pause_right_and_wrong_get_the_same_answer_with_its_end(staff: StaffCase, quick: list[str]) -> None:
    wrong(staff, 10, Client(ELSEWHERE))
    quick.clear()
    client = staff.browser()
    answers = [send(client, ELSEWHERE, password) for password in (PASSWORD, "wrong")]
    assert [each.status_code for each in answers] == [429, 429]
    assert answers[0].headers["Retry-After"] == "900"
    assert all("paused here until 15 June 2026, 11:15" in each.text for each in answers)
    assert answers[0].text == answers[1].text
    assert quick == []  # nothing was looked at, so nothing can be learnt and no work is made


@on_sqlite
def test_an_account_that_does_not_exist_pauses_as_one_that_does(staff: StaffCase) -> None:
    client = staff.browser()
    nobody, somebody = (
        [send(client, address, "wrong", email).status_code for _try in range(6)]
        for address, email in ((ELSEWHERE, "nobody@clinic.example"), (AT_WORK, NURSE))
    )
    assert nobody == somebody == [401] * 5 + [429]


@on_sqlite
def test_after_the_pause_the_right_password_signs_in_and_forgives(staff: StaffCase) -> None:
    client = staff.browser()
    wrong(staff, 10, Client(ELSEWHERE))
    staff.case.now += timedelta(minutes=14)
    assert send(client, ELSEWHERE, PASSWORD).status_code == 429
    staff.case.now += timedelta(minutes=2)
    assert send(client, ELSEWHERE, PASSWORD).status_code == 302
    assert [send(client, ELSEWHERE, "wrong").status_code for _try in range(4)] == [401] * 4
    assert send(client, ELSEWHERE, PASSWORD).status_code == 302


@on_sqlite
def test_one_address_that_tries_many_accounts_is_slowed_down(staff: StaffCase) -> None:
    for number in range(21):
        wrong(staff, 1, Client(ELSEWHERE), f"somebody-{number}@clinic.example")
    assert send(staff.browser(), ELSEWHERE, PASSWORD).status_code == 429
    assert send(staff.browser(), AT_WORK, PASSWORD).status_code == 302


@on_sqlite
def test_many_addresses_that_try_one_account_are_slowed_down_together(staff: StaffCase) -> None:
    for number in range(51):
        wrong(staff, 1, Client(f"198.51.100.{number}"))
    assert paused(staff, Client(ELSEWHERE)) and not paused(staff, Client(ELSEWHERE), "surgeon@clinic.example")


@on_sqlite
def test_a_wrong_try_in_every_hour_does_not_keep_an_account_paused_for_ever(staff: StaffCase) -> None:
    elsewhere = [Client(f"198.51.100.{number}") for number in range(100)]
    for client in elsewhere[:58]:
        wrong(staff, 1, client)
    nobody_known = Client(ELSEWHERE)
    assert paused(staff, nobody_known)
    hours = 0
    while paused(staff, nobody_known):
        staff.case.now += timedelta(hours=1)
        wrong(staff, 1, elsewhere[58 + hours])
        hours += 1
        assert hours < 5
    assert hours > 1


@on_sqlite
def test_one_household_of_ipv6_addresses_is_one_place(staff: StaffCase) -> None:
    client = staff.browser()
    for number in range(5):
        send(client, f"2001:db8:1:2::{number}", "wrong")
    assert send(client, "2001:db8:1:2:ffff::9", "wrong").status_code == 429
    assert send(client, "2001:db8:1:3::9", "wrong").status_code == 401


@on_sqlite
def test_tries_in_a_pause_write_nothing(staff: StaffCase) -> None:
    def entries() -> int:
        with staff.case.store.reading() as session:
            return session.scalar(select(func.count()).select_from(AuditEntry)) or 0

    wrong(staff, 10, Client(ELSEWHERE))
    before = entries()
    assert send(staff.browser(), ELSEWHERE, "wrong").status_code == 429
    assert entries() == before


@pytest.fixture
def quick_inside(monkeypatch: pytest.MonkeyPatch) -> None:
    """The present password is not hashed either."""
    monkeypatch.setattr(present_password, "password_matches", lambda typed, _known: typed == PASSWORD)


@on_sqlite
@pytest.mark.usefixtures("quick_inside")
def test_strangers_do_not_pause_the_present_password_of_who_is_signed_in(staff: StaffCase) -> None:
    nurse = staff.sign_in("nurse")
    with staff.case.store.reading() as session:
        number = session.scalar(select(func.max(StaffSession.id)))
    for elsewhere in range(60):  # as if it were an e-mail address
        wrong(staff, 1, Client(f"198.51.100.{elsewhere}"), f"session {number}")
    for somebody in range(30):  # and from the clinic's own network
        wrong(staff, 1, Client("127.0.0.1"), f"somebody-{somebody}@clinic.example")
    assert send(staff.browser(), "127.0.0.1", PASSWORD).status_code == 429
    said = nurse.post("/account/password", {"old_password": PASSWORD, "new_password": "short"})
    assert said.status_code == 422 and "paused here" not in said.text and "at least 15 characters" in said.text


@on_sqlite
def test_what_is_typed_as_an_e_mail_address_does_not_pause_a_second_step(staff: StaffCase) -> None:
    totp = give_app(go_live(staff))
    number = staff.account_id()
    for elsewhere in range(60):
        for typed in (f"second-step-{number}", f"second-step {number}"):
            wrong(staff, 1, Client(f"198.51.100.{elsewhere}"), typed)
    desk = password_given(staff)
    assert desk.post("/sign-in/second-step", code=code_now(staff, totp)).location == "/today"


@on_sqlite
@pytest.mark.usefixtures("quick_inside")
def test_wrong_present_passwords_pause_the_session_they_are_tried_in(staff: StaffCase) -> None:
    nurse = staff.sign_in("nurse")
    fields = {"old_password": "wrong", "new_password": "seven grey geese flying over"}
    said = [nurse.post("/account/password", fields).text for _try in range(6)]
    assert ["not your present password" in each for each in said] == [True] * 5 + [False]
    assert "paused here until" in nurse.post("/account/password", {**fields, "old_password": PASSWORD}).text
    assert send(staff.browser(), AT_WORK, PASSWORD).status_code == 302


@on_sqlite
def test_old_tries_are_forgotten_and_known_places_kept_for_ninety_days(staff: StaffCase) -> None:
    def rows() -> int:
        with staff.case.store.reading() as session:
            return session.scalar(select(func.count()).select_from(SignInTries)) or 0

    send(staff.browser(), AT_WORK, PASSWORD)
    known = rows()
    wrong(staff, 1, Client(ELSEWHERE), "nobody@clinic.example")
    assert rows() == known + 3
    staff.case.now += timedelta(days=2)
    keep_house(staff.case.runtime)
    assert rows() == known
    staff.case.now += timedelta(days=90)
    keep_house(staff.case.runtime)
    assert rows() == 0
