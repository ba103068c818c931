"""Passkeys at the server: made once, right for this address, this question and this person alone."""

from dataclasses import replace
from datetime import timedelta
from typing import Any

import pytest
from sqlalchemy import select

from server.models import StaffPasskey
from server.staff.account import present_password, sign_in
from tests.staff.account.live_case import Desk, actions, give_app, go_live, password_given
from tests.staff.account.soft_key import SoftKey
from tests.staff.staff_case import PASSWORD, StaffCase

# Signing in is tested on both databases; what is done here does not depend on which it is.
pytestmark = pytest.mark.parametrize("database_url", ["sqlite"], indirect=True, scope="module")

FACTOR = "/account/second-factor"
STEP = "/sign-in/second-step"


@pytest.fixture(autouse=True)
def quick(monkeypatch: pytest.MonkeyPatch) -> None:
    """In place of argon2, whose work is not looked at here."""
    for module in (sign_in, present_password):
        monkeypatch.setattr(module, "password_matches", lambda typed, known: bool(known) and typed == PASSWORD)


@pytest.fixture
def live(staff: StaffCase) -> StaffCase:
    return go_live(staff)


def set_up(live: StaffCase, key: SoftKey) -> Desk:
    """The first sign-in of the nurse, with this key."""
    desk = password_given(live)
    desk.post(f"{FACTOR}/passkey", name="ward computer")
    done = desk.post(f"{FACTOR}/passkey/made", name="ward computer", credential=key.make(desk.options()))
    assert done.status_code == 200 and "Your recovery codes" in done.text
    assert desk.post(f"{FACTOR}/recovery-codes/arrived").location == "/today"
    return desk


def test_a_passkey_is_set_up_and_signs_in(live: StaffCase) -> None:
    key = SoftKey()
    assert set_up(live, key).client.get("/today").status_code == 200
    desk = password_given(live)
    assert desk.post(STEP, credential=key.sign(desk.options())).location == "/today"
    assert desk.client.get("/today").status_code == 200
    assert actions(live, "second-factor:") == ["second-factor:added", "second-factor:codes-arrived"]
    with live.case.store.reading() as session:
        kept = session.scalars(select(StaffPasskey)).one()
        assert (kept.name, kept.sign_count, kept.last_used_at) == ("ward computer", 1, live.case.now)


@pytest.mark.parametrize(
    ("origin", "host"),
    [
        ("https://localhost.evil.example", "localhost"),
        ("https://localhost", "evil.example"),
        ("http://localhost", "localhost"),
    ],
)
def test_what_was_signed_for_another_address_is_worth_nothing(live: StaffCase, origin: str, host: str) -> None:
    key = SoftKey()
    set_up(live, key)
    desk = password_given(live)
    assert desk.post(STEP, credential=replace(key, origin=origin, host=host).sign(desk.options())).status_code == 401
    assert desk.client.get("/today").location == STEP


def test_a_question_is_answered_once(live: StaffCase) -> None:
    key = SoftKey()
    set_up(live, key)
    desk = password_given(live)
    question = desk.options()
    desk.post(STEP, code="000000")
    assert desk.options() != question
    assert desk.post(STEP, credential=key.sign(question)).status_code == 401
    answer = key.sign(desk.options())
    assert desk.post(STEP, credential=answer).status_code == 302
    assert password_given(live).post(STEP, credential=answer).status_code == 401


def test_the_key_of_another_person_does_not_fit(live: StaffCase) -> None:
    key = SoftKey()
    set_up(live, key)
    give_app(live, "surgeon")
    other = password_given(live, "surgeon@clinic.example")
    mine = password_given(live)
    assert "data-options" not in other.page
    assert other.post(STEP, credential=key.sign(mine.options())).status_code == 401


def test_a_copied_key_whose_count_goes_back_is_noticed(live: StaffCase) -> None:
    key = SoftKey(count=5)
    set_up(live, key)
    copy = replace(key, count=2)
    desk = password_given(live)
    assert desk.post(STEP, credential=copy.sign(desk.options())).status_code == 401
    assert desk.post(STEP, credential=key.sign(desk.options())).status_code == 302


@pytest.mark.parametrize(
    "sent", ["", "{}", "[]", "no json", '{"rawId": "*", "id": "*"}', '{"rawId": "AAAA", "id": "AAAA"}']
)
def test_what_no_browser_sends_is_refused_without_a_fault(live: StaffCase, sent: str) -> None:
    desk = password_given(live)
    desk.post(f"{FACTOR}/passkey")
    assert desk.post(f"{FACTOR}/passkey/made", credential=sent).status_code == 422
    set_up(live, SoftKey())
    assert password_given(live).post(STEP, credential=sent).status_code == 401


def test_a_question_is_good_for_some_minutes(live: StaffCase) -> None:
    desk, key = password_given(live), SoftKey()
    desk.post(f"{FACTOR}/passkey")
    answer = key.make(desk.options())
    live.case.now += timedelta(minutes=10)
    assert desk.post(f"{FACTOR}/passkey/made", credential=answer).status_code == 422
    assert actions(live, "second-factor:") == []


@pytest.mark.parametrize(
    ("form", "statement"),
    [
        ("packed", {"sig": b"x", "alg": -7, "x5c": [b"no certificate"]}),
        ("packed", {"sig": b"x", "alg": -7, "x5c": 1}),
        ("tpm", {"sig": b"x", "alg": -7, "x5c": [b"x"], "ver": "2.0", "certInfo": 1, "pubArea": 1}),
        ("android-safetynet", {"ver": "1", "response": "a text"}),
        ("android-safetynet", {"ver": "1", "response": b"a.b.c"}),
    ],
)
def test_an_attestation_that_no_browser_makes_is_refused_without_a_fault(
    live: StaffCase, form: str, statement: dict[str, Any]
) -> None:
    desk = password_given(live)
    desk.post(f"{FACTOR}/passkey")
    made_up = SoftKey().make(desk.options(), form, statement)
    refused = desk.post(f"{FACTOR}/passkey/made", credential=made_up)
    assert refused.status_code == 422 and "The passkey was not made" in refused.text
    assert actions(live, "second-factor:") == []


def test_a_passkey_that_was_not_asked_for_is_not_taken(live: StaffCase) -> None:
    desk = password_given(live)
    desk.post(f"{FACTOR}/passkey")
    answer = SoftKey().make(desk.options())
    assert desk.post(f"{FACTOR}/passkey/made", credential=answer).status_code == 200
    again = Desk(live, desk.client)
    again.get(FACTOR)
    assert again.post(f"{FACTOR}/passkey/made", credential=SoftKey().make('{"challenge": "AAAA"}')).status_code == 422
    assert again.post(f"{FACTOR}/passkey/made", credential=answer).status_code == 422
