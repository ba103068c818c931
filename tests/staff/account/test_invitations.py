"""Invitations: a link lets a person choose the password of an account, once, and tells nothing to whoever has a wrong one."""

import logging
import re
from datetime import timedelta
from email import message_from_bytes
from email.policy import default

import pytest
from flask.testing import FlaskClient
from sqlalchemy import select
from werkzeug.test import TestResponse

from server.models import Restoration, StaffAccount, StaffInvitation
from server.reminders.channels.email.channel import mailbox_folder
from server.staff.account import invitation_page
from server.staff.account.passwords import Busy
from tests.staff.account.live_case import actions, code_now, give_app, go_live
from tests.staff.staff_case import PASSWORD, SECRET, Staff, StaffCase, send_sign_in

# What a page says is the same on either database.
pytestmark = pytest.mark.parametrize("database_url", ["sqlite"], indirect=True, scope="module")

EMAIL = "ines@clinic.example"
CHOSEN = "seven grey geese flying over"
LINK = re.compile(r'id="invitation-link">([^<]+)</p>')
NEW = {"name": "Ines Marín", "email": EMAIL, "role": "nurse", "present_password": PASSWORD}


def token_of(page: TestResponse) -> str:
    assert page.status_code == 200
    path, token = LINK.findall(page.text)[0].split("#")
    assert path.endswith("/invitation") and len(token) >= 43
    return str(token)


def make(manager: Staff, **other: str) -> str:
    return token_of(manager.post("/accounts/new", {**NEW, **other}))


def account_id(staff: StaffCase, email: str = EMAIL) -> int:
    with staff.case.store.reading() as session:
        return session.scalars(select(StaffAccount.id).where(StaffAccount.email == email)).one()


def use(client: FlaskClient, token: str, password: str = CHOSEN) -> TestResponse:
    secret = SECRET.findall(client.get("/invitation").text)[0]
    return client.post("/invitation", data={"form_secret": secret, "invitation": token, "new_password": password})


def test_an_invited_person_chooses_a_password_and_sets_a_second_step_up(staff: StaffCase) -> None:
    go_live(staff)
    token = make(staff.sign_in("data_manager"))
    assert send_sign_in(staff.browser(), EMAIL, "").status_code == 401
    assert send_sign_in(staff.browser(), EMAIL, "nobody's").status_code == 401
    person = staff.browser()
    assert use(person, token).location == "/account/second-factor"
    assert person.get("/account/second-factor").status_code == 200 and person.get("/today").status_code == 302
    assert send_sign_in(staff.browser(), EMAIL, CHOSEN).location == "/account/second-factor"
    assert actions(staff, "account:")[-3:] == ["account:made", "account:invited", "account:invitation-used"]


def test_the_database_holds_no_token(staff: StaffCase) -> None:
    token = make(staff.sign_in("data_manager"))
    with staff.case.store.reading() as session:
        kept = session.scalars(select(StaffInvitation)).one()
        assert len(kept.secret_hash) == 32 and token.encode() not in kept.secret_hash
        assert kept.ends_at - kept.made_at == timedelta(hours=72)


def test_used_replaced_run_out_shut_and_unknown_invitations_get_one_answer(staff: StaffCase) -> None:
    manager = staff.sign_in("data_manager")
    replaced = make(manager)
    number = account_id(staff)
    used = token_of(manager.post(f"/accounts/{number}/invitation", {"present_password": PASSWORD}))
    tokens = {"unknown": "A" * 43, "empty": "", "odd": "ñ\u202e" * 90, "replaced": replaced}
    answers = {name: use(staff.browser(), token) for name, token in tokens.items()}
    assert use(staff.browser(), used).status_code == 302
    answers["used"] = use(staff.browser(), used)
    shut = make(manager, email="shut@clinic.example")
    manager.post(f"/accounts/{account_id(staff, 'shut@clinic.example')}/shut")
    answers["shut"] = use(staff.browser(), shut)
    over = make(manager, email="over@clinic.example")
    staff.case.now += timedelta(hours=72)
    answers["over"], answers["short password"] = use(staff.browser(), over), use(staff.browser(), over, "x")
    assert {name: answer.status_code for name, answer in answers.items()} == dict.fromkeys(answers, 422)
    said = {re.findall(r'id="problem"><p>(.*?)</p>', answer.text, re.DOTALL)[0] for answer in answers.values()}
    assert len(said) == 1 and "not good" in said.pop()


def test_an_invitation_is_looked_at_before_a_password_is_asked_for(staff: StaffCase) -> None:
    go_live(staff)
    client, token = staff.browser(), make(staff.sign_in("data_manager"))
    page = client.get("/invitation").text
    assert "new_password" not in page and 'name="invitation"' in page
    fields = {"form_secret": SECRET.findall(page)[0]}
    good = client.post("/invitation", data={**fields, "invitation": token})
    assert good.status_code == 200 and 'name="new_password"' in good.text
    unknown = client.post("/invitation", data={**fields, "invitation": "x" * 43})
    assert unknown.status_code == 422 and "This invitation is not good" in unknown.text
    assert "new_password" not in unknown.text
    assert use(staff.browser(), token).location == "/account/second-factor"  # looking at it used nothing


def test_an_invitation_is_good_until_the_last_moment(staff: StaffCase) -> None:
    token = make(staff.sign_in("data_manager"))
    staff.case.now += timedelta(hours=72) - timedelta(seconds=1)
    assert use(staff.browser(), token).status_code == 302


def test_a_bad_password_leaves_the_invitation_good(staff: StaffCase, monkeypatch: pytest.MonkeyPatch) -> None:
    token, person = make(staff.sign_in("data_manager")), staff.browser()
    assert "at least 15" in use(person, token, "short").text
    assert "would be guessed soon" in use(person, token, "Ines Marín nurse").text

    def busy(_password: str) -> str:
        raise Busy

    with monkeypatch.context() as others:
        others.setattr(invitation_page, "hash_password", busy)
        assert use(person, token).status_code == 503
    assert use(person, token).status_code == 302


def test_an_invitation_that_was_replaced_while_the_password_was_hashed_changes_nothing(
    staff: StaffCase, monkeypatch: pytest.MonkeyPatch
) -> None:
    manager = staff.sign_in("data_manager")
    token = make(manager)
    path = f"/accounts/{account_id(staff)}/invitation"

    def meanwhile(password: str) -> str:
        assert manager.post(path, {"present_password": PASSWORD}).status_code == 200
        return f"hash of {password}"

    monkeypatch.setattr(invitation_page, "hash_password", meanwhile)
    assert use(staff.browser(), token).status_code == 422
    with staff.case.store.reading() as session:
        assert session.get_one(StaffAccount, account_id(staff)).password_hash is None


def test_a_new_password_by_invitation_ends_sessions_and_still_asks_for_the_second_step(staff: StaffCase) -> None:
    go_live(staff)
    totp, nurse, manager = give_app(staff), staff.sign_in("nurse"), staff.sign_in("data_manager")
    path = f"/accounts/{staff.account_id()}/invitation"
    token = token_of(manager.post(path, {"present_password": PASSWORD}))
    assert nurse.get("/today").status_code == 200  # the old password is good until the link is used
    person = staff.browser()
    assert use(person, token).location == "/sign-in/second-step"
    assert nurse.get("/today").status_code == 302 and person.get("/today").status_code == 302
    secret = SECRET.findall(person.get("/sign-in/second-step").text)[-1]
    done = person.post("/sign-in/second-step", data={"form_secret": secret, "code": code_now(staff, totp)})
    assert done.status_code == 302 and person.get("/today").status_code == 200


def test_a_person_who_changes_the_password_ends_an_invitation_that_waits(staff: StaffCase) -> None:
    nurse = staff.sign_in("nurse")
    path = f"/accounts/{staff.account_id()}/invitation"
    token = token_of(staff.sign_in("data_manager").post(path, {"present_password": PASSWORD}))
    changed = nurse.post("/account/password", {"old_password": PASSWORD, "new_password": CHOSEN})
    assert changed.location == "/account?done=password-changed"
    assert use(staff.browser(), token).status_code == 422


def test_a_forged_form_uses_no_invitation(staff: StaffCase) -> None:
    token, person = make(staff.sign_in("data_manager")), staff.browser()
    fields = {"invitation": token, "new_password": CHOSEN}
    elsewhere = {"Sec-Fetch-Site": "cross-site"}
    assert person.post("/invitation", data=fields, headers=elsewhere).status_code == 403
    stale = person.post("/invitation", data={**fields, "form_secret": "old"})
    assert stale.location == "/invitation?done=too-old" and token not in stale.text
    assert use(person, token).status_code == 302


def test_a_link_stands_in_no_address_and_in_no_log(staff: StaffCase, caplog: pytest.LogCaptureFixture) -> None:
    caplog.set_level(logging.DEBUG)
    token = make(staff.sign_in("data_manager"), by_mail="yes")
    answer = use(staff.browser(), token)
    assert token not in answer.location and token not in caplog.text
    assert answer.headers["Referrer-Policy"] == "no-referrer" and answer.headers["Cache-Control"] == "no-store"


def test_the_link_goes_to_the_person_by_mail_where_that_is_wanted(staff: StaffCase) -> None:
    mailbox = mailbox_folder(staff.case.runtime.settings)
    manager = staff.sign_in("data_manager")
    make(manager, email="quiet@clinic.example")
    assert not list(mailbox.glob("*"))
    page = manager.post("/accounts/new", {**NEW, "by_mail": "yes"})
    assert f"It was sent to {EMAIL} too." in page.text
    (written,) = mailbox.glob("*")
    mail = message_from_bytes(written.read_bytes(), policy=default)
    assert mail["To"] == EMAIL and f"/invitation#{token_of(page)}" in mail.get_content()


def test_a_restored_clinic_sends_no_invitation_before_it_is_released(staff: StaffCase) -> None:
    with staff.case.store.writing() as session:
        session.add(Restoration(restored_at=staff.case.now, backup_id="a" * 32, backup_made_at=staff.case.now))
    page = staff.sign_in("data_manager").post("/accounts/new", {**NEW, "by_mail": "yes"})
    assert "before a data manager releases it" in page.text and token_of(page)
    assert not list(mailbox_folder(staff.case.runtime.settings).glob("*"))
