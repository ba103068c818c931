"""Signing in: who gets in, who is slowed down, when a session ends."""

from datetime import timedelta

import pytest
from sqlalchemy import func, select

from server.models import AuditEntry, StaffAccount, StaffSession
from server.staff.account import passwords
from server.staff.page.sessions import secret_hash
from tests.staff.staff_case import PASSWORD, SECRET, StaffCase, send_sign_in

# What a page says is the same on either database.
pytestmark = pytest.mark.parametrize("database_url", ["sqlite"], indirect=True, scope="module")

NURSE = "nurse@clinic.example"
COOKIE = "yearmark-staff"
NEW = "seven grey geese flying over"


def test_the_right_password_opens_the_list_of_today(staff: StaffCase) -> None:
    client = staff.browser()
    answer = send_sign_in(client, f"  {NURSE.upper()} ", PASSWORD)
    assert (answer.status_code, answer.location) == (302, "/today")
    assert client.get("/today").status_code == 200


@pytest.mark.parametrize("email", [NURSE, "nobody@clinic.example", ""])
def test_a_wrong_password_and_an_unknown_account_get_the_same_answer(staff: StaffCase, email: str) -> None:
    wrong = send_sign_in(staff.browser(), email, "not the right words at all")
    assert wrong.status_code == 401
    assert "That did not match" in wrong.text
    assert not wrong.headers.getlist("Set-Cookie")[0].startswith(COOKIE)


def test_an_unknown_account_costs_a_hash_too(staff: StaffCase, monkeypatch: pytest.MonkeyPatch) -> None:
    checked: list[str] = []
    verify = passwords._hasher.verify

    class Counting:
        def verify(self, password_hash: str, password: str) -> bool:
            checked.append(password_hash)
            return verify(password_hash, password)

    monkeypatch.setattr(passwords, "_hasher", Counting())
    for email in (NURSE, "nobody@clinic.example"):
        send_sign_in(staff.browser(), email, "not the right words at all")
    assert [each.split("$")[1:4] for each in checked] == [["argon2id", "v=19", "m=65536,t=3,p=1"]] * 2


def test_the_password_is_kept_as_argon2id_and_the_cookie_only_as_its_hash(staff: StaffCase) -> None:
    client = staff.browser()
    send_sign_in(client, NURSE, PASSWORD)
    cookie = client.get_cookie(COOKIE)
    assert cookie is not None and len(cookie.value) >= 43  # 256 bits in base64
    with staff.case.store.reading() as session:
        account = session.scalars(select(StaffAccount).where(StaffAccount.email == NURSE)).one()
        kept = session.scalars(select(StaffSession).where(StaffSession.account_id == account.id)).one()
        stored = account.password_hash or ""
        assert stored.startswith("$argon2id$") and PASSWORD not in stored
        assert kept.secret_hash == secret_hash(cookie.value)


def test_the_cookie_is_for_this_site_and_no_script(staff: StaffCase) -> None:
    said = send_sign_in(staff.browser(), NURSE, PASSWORD).headers.getlist("Set-Cookie")
    cookie = next(each for each in said if each.startswith(f"{COOKIE}="))
    assert "HttpOnly" in cookie and "SameSite=Strict" in cookie and "Path=/" in cookie
    assert "Secure" not in cookie and "Expires" not in cookie


def test_over_https_the_cookie_is_secure_and_bound_to_the_host(staff: StaffCase) -> None:
    client, base = staff.browser(), "https://clinic.example"
    secret = SECRET.findall(client.get("/sign-in", base_url=base).text)[0]
    fields = {"email": NURSE, "password": PASSWORD, "form_secret": secret}
    said = client.post("/sign-in", data=fields, base_url=base).headers.getlist("Set-Cookie")
    cookie = next(each for each in said if each.startswith(f"__Host-{COOKIE}="))
    assert "Secure" in cookie and "Path=/" in cookie and "Domain" not in cookie
    assert client.get("/today", base_url=base).status_code == 200


def test_a_closed_account_is_out_at_once(staff: StaffCase) -> None:
    nurse = staff.sign_in("nurse")
    assert nurse.get("/today").status_code == 200
    with staff.case.store.writing() as session:
        session.scalars(select(StaffAccount).where(StaffAccount.email == NURSE)).one().disabled_at = staff.case.now
    assert nurse.get("/today").location == "/sign-in"
    assert send_sign_in(staff.browser(), NURSE, PASSWORD).status_code == 401


def test_a_session_ends_after_an_hour_without_a_page(staff: StaffCase) -> None:
    nurse = staff.sign_in("nurse")
    for _page in range(3):
        staff.case.now += timedelta(minutes=50)
        assert nurse.get("/account").status_code == 200
    staff.case.now += timedelta(minutes=61)
    assert nurse.get("/account").status_code == 302


def test_a_session_ends_after_twelve_hours_in_any_case(staff: StaffCase) -> None:
    nurse = staff.sign_in("nurse")
    for _page in range(14):
        staff.case.now += timedelta(minutes=50)
        last = nurse.get("/account").status_code
    assert last == 200
    staff.case.now += timedelta(minutes=50)
    assert nurse.get("/account").status_code == 302


def test_signing_out_ends_the_session_on_the_server(staff: StaffCase) -> None:
    nurse = staff.sign_in("nurse")
    cookie = nurse.client.get_cookie(COOKIE)
    assert cookie is not None
    assert nurse.post("/sign-out").location == "/sign-in?done=signed-out"
    again = staff.browser()
    again.set_cookie(COOKIE, cookie.value)
    assert again.get("/today").status_code == 302


def test_other_sessions_can_be_ended_from_here(staff: StaffCase) -> None:
    here, elsewhere = staff.sign_in("nurse"), staff.browser()
    send_sign_in(elsewhere, NURSE, PASSWORD)
    assert here.post("/account/sessions").status_code == 302
    assert elsewhere.get("/today").status_code == 302
    assert here.get("/today").status_code == 200


def test_a_new_password_must_be_long_and_ends_other_sessions(staff: StaffCase) -> None:
    here, elsewhere = staff.sign_in("nurse"), staff.browser()
    send_sign_in(elsewhere, NURSE, PASSWORD)
    short = here.post("/account/password", {"old_password": PASSWORD, "new_password": "fourteen chars"})
    assert short.status_code == 422 and "at least 15 characters" in short.text
    wrong = here.post("/account/password", {"old_password": "something else", "new_password": NEW})
    assert wrong.status_code == 422 and "not your present password" in wrong.text
    done = here.post("/account/password", {"old_password": PASSWORD, "new_password": NEW})
    assert done.location == "/account?done=password-changed"
    assert elsewhere.get("/today").status_code == 302
    assert send_sign_in(staff.browser(), NURSE, NEW).status_code == 302


def test_a_new_password_gives_the_session_a_new_cookie_and_the_old_one_is_worthless(staff: StaffCase) -> None:
    here = staff.sign_in("nurse")
    before = here.client.get_cookie(COOKIE)
    assert here.post("/account/password", {"old_password": PASSWORD, "new_password": NEW}).status_code == 302
    after = here.client.get_cookie(COOKIE)
    assert before is not None and after is not None and before.value != after.value
    assert here.client.get("/today").status_code == 200
    thief = staff.browser()
    thief.set_cookie(COOKIE, before.value)
    assert thief.get("/today").status_code == 302


def test_signing_in_never_goes_on_with_a_cookie_that_was_there_before(staff: StaffCase) -> None:
    client = staff.browser()
    client.set_cookie(COOKIE, "chosen-by-somebody-else")
    send_sign_in(client, NURSE, PASSWORD)
    cookie = client.get_cookie(COOKIE)
    assert cookie is not None and cookie.value != "chosen-by-somebody-else"


def test_signing_in_leads_only_to_our_own_pages(staff: StaffCase) -> None:
    def lands(wanted: str) -> str | None:
        client = staff.browser()
        secret = SECRET.findall(client.get("/sign-in").text)[0]
        fields = {"email": NURSE, "password": PASSWORD, "form_secret": secret}
        return client.post("/sign-in", query_string={"next": wanted}, data=fields).location

    assert lands("/patients?q=a") == "/patients?q=a"
    assert lands("https://evil.example/") == "/today"
    assert lands("//evil.example") == "/today"


def test_each_try_is_in_the_audit_trail_without_the_address(staff: StaffCase) -> None:
    send_sign_in(staff.browser(), "nobody@clinic.example", "not the right words at all")
    send_sign_in(staff.browser(), NURSE, PASSWORD)
    with staff.case.store.reading() as session:
        found = session.execute(
            select(AuditEntry.action, func.count())
            .where(AuditEntry.action.like("sign-in:%"))
            .group_by(AuditEntry.action)
        )
        assert {row.action: row[1] for row in found} == {"sign-in:refused": 1, "sign-in:done": 1}
        assert not any("nobody@" in f"{entry.thing}{entry.detail}" for entry in session.scalars(select(AuditEntry)))
