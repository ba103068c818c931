"""Setting a second factor up at the first sign-in of a live clinic, and looking after it later."""

from datetime import timedelta

import pyotp
import pytest
from sqlalchemy import func, select, text

from server.models import StaffAuthenticatorApp, StaffRecoveryCode
from server.staff.account import present_password, sign_in
from tests.staff.account.live_case import (
    KEY,
    NURSE,
    Desk,
    actions,
    code_now,
    give_app,
    go_live,
    password_given,
)
from tests.staff.html_page import read_page
from tests.staff.staff_case import PASSWORD, Staff, StaffCase, send_sign_in

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


def signed_in(live: StaffCase, role: str = "nurse") -> Desk:
    """Inside, with an app, as if both steps were done."""
    give_app(live, role)
    member: Staff = live.sign_in(role)
    desk = Desk(live, member.client)
    desk.get(FACTOR)
    return desk


def count(live: StaffCase, table: type[StaffAuthenticatorApp] | type[StaffRecoveryCode]) -> int:
    with live.case.store.reading() as session:
        return session.scalar(select(func.count()).select_from(table)) or 0


def only_app(live: StaffCase) -> str:
    """The path of the one app that there is."""
    with live.case.store.reading() as session:
        return f"{FACTOR}/app/{session.scalars(select(StaffAuthenticatorApp.id)).one()}"


def shown_key(desk: Desk) -> pyotp.TOTP:
    return pyotp.TOTP(KEY.findall(desk.page)[0].replace(" ", ""))


def test_an_account_without_a_second_factor_is_led_to_its_set_up_and_nowhere_else(live: StaffCase) -> None:
    desk = password_given(live)
    assert "Set one up now" in desk.page and "/today" not in desk.page
    assert {desk.client.get(path).location for path in ("/today", "/patients", "/account", STEP)} == {FACTOR}
    assert desk.post("/account/language", language="es").status_code == 401


def test_an_app_is_set_up_and_ten_codes_are_shown_once(live: StaffCase) -> None:
    desk = password_given(live)
    halfway = desk.cookie()
    assert "picture to scan" in desk.post(f"{FACTOR}/app", name="my phone").text
    totp = shown_key(desk)
    wrong = desk.post(f"{FACTOR}/app/confirmed", name="my phone", code="000000")
    assert wrong.status_code == 422 and "not the code that the app shows now" in wrong.text
    done = desk.post(f"{FACTOR}/app/confirmed", name="my phone", code=code_now(live, totp))
    codes = [each.text for each in read_page(done.text).all("span") if each.attributes.get("class") == "token"]
    assert len(set(codes)) == 10 and {len(code) for code in codes} == {29}
    assert desk.cookie() != halfway and desk.client.get("/today").status_code == 200
    assert codes[0] not in desk.get(FACTOR).text and "my phone" in desk.page
    assert actions(live, "second-factor:") == ["second-factor:added"]
    used = password_given(live)
    assert used.post(STEP, code=code_now(live, totp)).status_code == 401  # the code that set it up is used
    assert used.post(STEP, recovery_code=codes[9]).status_code == 302


def test_codes_whose_page_never_arrived_are_offered_anew_until_somebody_has_them(live: StaffCase) -> None:
    lost = password_given(live)
    lost.post(f"{FACTOR}/app")
    totp = shown_key(lost)
    lost.post(f"{FACTOR}/app/confirmed", code=code_now(live, totp))  # nobody reads the answer

    def in_again() -> str:
        live.case.now += timedelta(minutes=1)
        return password_given(live).post(STEP, code=code_now(live, totp)).location or ""

    assert in_again() == in_again() == FACTOR
    desk = Desk(live, lost.client)
    assert "not said yet that you have these codes" in desk.get(FACTOR).text
    assert desk.post(f"{FACTOR}/recovery-codes", present_password=PASSWORD).status_code == 200
    assert in_again() == FACTOR
    assert desk.post(f"{FACTOR}/recovery-codes/arrived").location == "/today"
    assert in_again() == "/today"
    assert "not said yet" not in desk.get(FACTOR).text and "10 printed codes are left" in desk.page
    assert actions(live, "second-factor:")[-1] == "second-factor:codes-arrived"


def test_the_secret_lies_sealed_and_codes_only_as_hashes(live: StaffCase) -> None:
    desk = password_given(live)
    desk.post(f"{FACTOR}/app")
    totp = shown_key(desk)

    def stored() -> bytes:
        with live.case.store.reading() as session:
            found = [
                *session.execute(text("SELECT secret FROM staff_authenticator_app")).scalars(),
                *session.execute(text("SELECT new_secret FROM staff_session")).scalars(),
                *session.execute(text("SELECT code_hash FROM staff_recovery_code")).scalars(),
            ]
            return b"|".join(bytes(each) for each in found if each is not None)

    assert stored() and totp.secret.encode() not in stored()
    page = desk.post(f"{FACTOR}/app/confirmed", code=code_now(live, totp)).text
    code = next(each.text for each in read_page(page).all("span") if each.attributes.get("class") == "token")
    assert count(live, StaffRecoveryCode) == 10
    assert totp.secret.encode() not in stored() and code.replace("-", "").encode() not in stored()


def test_the_page_that_takes_the_code_neither_makes_nor_shows_a_key(live: StaffCase) -> None:
    desk = signed_in(live)
    said = desk.post(f"{FACTOR}/app/confirmed", name="a thief's phone", code="000000")
    assert said.status_code == 422 and "No app is being added here" in said.text and not KEY.search(said.text)
    desk.post(f"{FACTOR}/app", present_password=PASSWORD)
    totp = shown_key(desk)
    wrong = desk.post(f"{FACTOR}/app/confirmed", code="000000")
    assert wrong.status_code == 422 and "Type the code that the app shows now" in wrong.text
    assert not KEY.search(wrong.text) and "otpauth" not in wrong.text
    assert count(live, StaffAuthenticatorApp) == 1
    assert desk.post(f"{FACTOR}/app/confirmed", code=code_now(live, totp)).status_code == 200
    assert count(live, StaffAuthenticatorApp) == 2


def test_a_key_that_was_shown_is_good_for_some_minutes(live: StaffCase) -> None:
    desk = signed_in(live)
    desk.post(f"{FACTOR}/app", present_password=PASSWORD)
    totp = shown_key(desk)
    live.case.now += timedelta(minutes=9)
    assert desk.post(f"{FACTOR}/app", present_password=PASSWORD).status_code == 200
    assert shown_key(desk).secret == totp.secret
    live.case.now += timedelta(minutes=10)
    late = desk.post(f"{FACTOR}/app/confirmed", code=code_now(live, totp))
    assert late.status_code == 422 and "more than ten minutes ago" in late.text
    assert count(live, StaffAuthenticatorApp) == 1
    desk.post(f"{FACTOR}/app", present_password=PASSWORD)
    assert shown_key(desk).secret != totp.secret


@pytest.mark.parametrize("path", ["passkey", "app", "recovery-codes", "app/1/remove"])
def test_who_finds_a_session_open_changes_nothing_without_the_password(live: StaffCase, path: str) -> None:
    desk = signed_in(live)
    said = desk.post(f"{FACTOR}/{path}", present_password="not it")
    assert said.status_code == 422 and "not your present password" in said.text
    assert (count(live, StaffAuthenticatorApp), count(live, StaffRecoveryCode)) == (1, 0)
    assert actions(live, "second-factor:") == []


def test_the_last_one_stays_and_a_second_one_lets_it_go(live: StaffCase) -> None:
    desk = signed_in(live)
    old = f"{only_app(live)}/remove"
    refused = desk.post(old, present_password=PASSWORD)
    assert refused.status_code == 422 and "only second factor" in refused.text
    desk.post(f"{FACTOR}/app", present_password=PASSWORD, name="new phone")
    desk.post(f"{FACTOR}/app/confirmed", name="new phone", code=code_now(live, shown_key(desk)))
    desk.get(FACTOR)
    elsewhere = password_given(live)
    assert count(live, StaffAuthenticatorApp) == 2
    assert desk.post(old, present_password=PASSWORD).location == f"{FACTOR}?done=factor-removed"
    assert "new phone" in desk.get(FACTOR).text and "blue phone" not in desk.page
    assert elsewhere.client.get(STEP).location.startswith("/sign-in?")
    assert actions(live, "second-factor:") == ["second-factor:added", "second-factor:removed"]


def test_a_second_factor_gets_another_name(live: StaffCase) -> None:
    desk = signed_in(live)
    assert desk.post(f"{only_app(live)}/name", name="  old \x07  phone\u202e ").status_code == 302
    assert "old phone" in desk.get(FACTOR).text
    assert desk.post(f"{only_app(live)}/name", name=" ").status_code == 400
    assert desk.post(f"{FACTOR}/passkey/1/name", name="none such").status_code == 404
    assert actions(live, "second-factor:") == ["second-factor:renamed"]


def test_nobody_renames_or_removes_what_belongs_to_another(live: StaffCase) -> None:
    signed_in(live, "surgeon")
    theirs = only_app(live)
    desk = signed_in(live)
    assert desk.post(f"{theirs}/name", name="mine").status_code == 404
    assert desk.post(f"{theirs}/remove", present_password=PASSWORD).status_code == 404
    assert count(live, StaffAuthenticatorApp) == 2


def test_new_recovery_codes_end_the_old_ones(live: StaffCase) -> None:
    desk = signed_in(live)
    first = desk.post(f"{FACTOR}/recovery-codes", present_password=PASSWORD)
    old = next(each.text for each in read_page(first.text).all("span") if each.attributes.get("class") == "token")
    desk.get(FACTOR)
    assert desk.post(f"{FACTOR}/recovery-codes", present_password=PASSWORD).status_code == 200
    assert count(live, StaffRecoveryCode) == 10
    assert password_given(live).post(STEP, recovery_code=old).status_code == 401
    assert actions(live, "second-factor:") == ["second-factor:codes-made"] * 2


def test_a_data_manager_resets_what_somebody_lost_and_nobody_their_own(live: StaffCase) -> None:
    nurse = signed_in(live)
    manager = signed_in(live, "data_manager")
    assert "Reset the second step" in manager.get(f"/accounts/{live.account_id()}").text
    assert manager.post(f"/accounts/{live.account_id('data_manager')}/second-factor").status_code == 409
    assert nurse.post(f"/accounts/{live.account_id('surgeon')}/second-factor").status_code == 403
    reset = f"/accounts/{live.account_id()}/second-factor"
    assert manager.post(reset).status_code == 422
    assert manager.post(reset, present_password="not it").status_code == 422
    assert nurse.client.get("/today").status_code == 200 and actions(live, "second-factor:") == []
    assert manager.post(reset, present_password=PASSWORD).location == f"/accounts/{live.account_id()}?done=factor-reset"
    assert nurse.client.get("/today").status_code == 302
    assert "Set one up now" in password_given(live).page
    assert actions(live, "second-factor:") == ["second-factor:reset"]


def test_a_demo_has_none_of_these_pages(staff: StaffCase) -> None:
    nurse = staff.sign_in("nurse")
    assert nurse.get(FACTOR).status_code == 404
    assert nurse.post(f"{FACTOR}/app", {"present_password": PASSWORD}).status_code == 404
    assert "A demo asks nobody" in nurse.get("/account").text
    assert send_sign_in(staff.browser(), NURSE, PASSWORD).location == "/today"
