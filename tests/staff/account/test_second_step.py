"""After the password, on a live clinic: the code of an app or a recovery code, each good once. Passkeys have a file of their own."""

from datetime import timedelta

import pytest

from server.models import StaffSession
from server.staff.account import sign_in
from server.staff.account.recovery_codes import make_recovery_codes
from tests.staff.account.live_case import NURSE, actions, code_now, give_app, go_live, password_given
from tests.staff.staff_case import PASSWORD, StaffCase, send_sign_in

# What a page says is the same on either database.
pytestmark = pytest.mark.parametrize("database_url", ["sqlite"], indirect=True, scope="module")

STEP = "/sign-in/second-step"
ATTEMPT = {"channel": "telephone", "result": "reached", "note": "spoke to her"}


@pytest.fixture(autouse=True)
def quick(monkeypatch: pytest.MonkeyPatch) -> None:
    """In place of argon2, whose work is not looked at here."""
    monkeypatch.setattr(sign_in, "password_matches", lambda typed, known: bool(known) and typed == PASSWORD)


@pytest.fixture
def live(staff: StaffCase) -> StaffCase:
    return go_live(staff)


def recovery_codes(live: StaffCase) -> list[str]:
    with live.case.store.writing() as session:
        return make_recovery_codes(session, live.account_id(), now=live.case.now)


def test_a_demo_asks_nobody_for_a_second_step(staff: StaffCase) -> None:
    give_app(staff)
    assert send_sign_in(staff.browser(), NURSE, PASSWORD).location == "/today"


def test_the_password_alone_opens_no_page(live: StaffCase) -> None:
    give_app(live)
    desk = password_given(live)
    assert "The second step" in desk.page and "/today" not in desk.page
    assert {
        desk.client.get(path).location for path in ("/today", "/patients", "/account", "/account/second-factor")
    } == {STEP}
    assert desk.post("/account/sessions").status_code == 401


def test_the_code_of_the_app_signs_in_with_a_new_session(live: StaffCase) -> None:
    totp = give_app(live)
    desk = password_given(live)
    halfway = desk.cookie()
    assert desk.post(STEP, code=code_now(live, totp)).location == "/today"
    assert desk.client.get("/today").status_code == 200
    assert desk.cookie() != halfway
    thief = live.browser()
    thief.set_cookie("yearmark-staff", halfway)
    assert thief.get(STEP).location.startswith("/sign-in")
    assert actions(live, "sign-in:") == ["sign-in:password-right", "sign-in:done"]


def test_a_code_is_good_once_and_an_earlier_one_no_more(live: StaffCase) -> None:
    totp = give_app(live)
    earlier = totp.at(live.case.now - timedelta(seconds=30))
    code = code_now(live, totp)
    assert password_given(live).post(STEP, code=code).status_code == 302
    again = password_given(live).post(STEP, code=code)
    assert again.status_code == 401 and "was used before" in again.text
    assert password_given(live).post(STEP, code=earlier).status_code == 401
    live.case.now += timedelta(seconds=30)
    assert password_given(live).post(STEP, code=code_now(live, totp)).status_code == 302


@pytest.mark.parametrize(("seconds", "status"), [(-90, 401), (-30, 302), (30, 302), (90, 401)])
def test_a_phone_s_clock_may_be_half_a_minute_off(live: StaffCase, seconds: int, status: int) -> None:
    totp = give_app(live)
    code = totp.at(live.case.now + timedelta(seconds=seconds))
    assert password_given(live).post(STEP, code=f"{code[:3]} {code[3:]}").status_code == status


def test_the_code_of_another_person_does_not_fit(live: StaffCase) -> None:
    give_app(live)
    other = give_app(live, "surgeon")
    assert password_given(live).post(STEP, code=code_now(live, other)).status_code == 401


def test_wrong_codes_pause_as_wrong_passwords_do_and_keep_a_known_device_in(live: StaffCase) -> None:
    totp = give_app(live)
    home = password_given(live)
    assert home.post(STEP, code=code_now(live, totp)).status_code == 302
    live.case.now += timedelta(minutes=1)
    thief = password_given(live)
    assert [thief.post(STEP, code="000000").status_code for _try in range(6)] == [401] * 5 + [429]
    paused = thief.post(STEP, code=code_now(live, totp))
    assert paused.status_code == 429 and "paused here until" in paused.text
    assert actions(live, "sign-in:second-step-refused") == ["sign-in:second-step-refused"] * 5
    home.client.delete_cookie("yearmark-staff")
    again = send_sign_in(home.client, NURSE, PASSWORD)
    home.get(again.location)
    assert home.post(STEP, code=code_now(live, totp)).location == "/today"


def test_the_half_open_session_ends_after_ten_minutes(live: StaffCase) -> None:
    totp = give_app(live)
    desk = password_given(live)
    live.case.now += timedelta(minutes=11)
    assert desk.post(STEP, code=code_now(live, totp)).status_code == 401
    assert desk.client.get("/today").location == "/sign-in"


def test_a_recovery_code_signs_in_once_however_it_is_typed(live: StaffCase) -> None:
    give_app(live)
    first, second = recovery_codes(live)[:2]
    desk = password_given(live)
    said = desk.post(STEP, recovery_code=first.lower().replace("-", " ").replace("0", "o").replace("1", "l"))
    assert said.location == "/account/second-factor?done=recovery-code-used"
    page = desk.get(said.location).text
    assert "That recovery code is used up" in page and "9 printed codes are left" in page
    assert password_given(live).post(STEP, recovery_code=first).status_code == 401
    assert password_given(live).post(STEP, recovery_code=second).status_code == 302


def test_what_was_being_typed_survives_the_second_step(live: StaffCase) -> None:
    totp = give_app(live)
    patient_id = live.case.enrol()
    path = f"/patients/{patient_id}/attempts"
    desk = password_given(live)
    desk.client.delete_cookie("yearmark-staff")
    kept = {"keep_path": path, **{f"keep:{name}": value for name, value in ATTEMPT.items()}}
    asked = send_sign_in(desk.client, NURSE, PASSWORD, **kept)
    assert asked.status_code == 200 and 'name="keep:note" value="spoke to her"' in asked.text
    desk.page = asked.text
    wrong = desk.post(STEP, code="000000", **kept)
    assert wrong.status_code == 401 and 'name="keep:note" value="spoke to her"' in wrong.text
    again = desk.post(STEP, code=code_now(live, totp), **kept)
    assert again.status_code == 409 and 'value="spoke to her"' in again.text
    assert desk.post(path, **ATTEMPT).status_code == 302


def test_an_old_page_of_the_second_step_writes_no_code_into_a_page(live: StaffCase) -> None:
    give_app(live)
    desk = password_given(live)
    stale = desk.client.post(STEP, data={"form_secret": "old", "code": "123456"})
    assert stale.status_code == 302 and "123456" not in stale.text


def test_the_page_that_was_asked_for_first_comes_after_both_steps(live: StaffCase) -> None:
    totp = give_app(live)
    desk = password_given(live)
    answer = desk.client.post(
        STEP, query_string={"next": "/patients?q=a"}, data={"form_secret": _secret(live), "code": code_now(live, totp)}
    )
    assert answer.location == "/patients?q=a"


def _secret(live: StaffCase) -> str:
    with live.case.store.reading() as session:
        return session.query(StaffSession.form_secret).order_by(StaffSession.id.desc()).limit(1).scalar() or ""
