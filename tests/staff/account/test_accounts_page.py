"""The pages Accounts: who may sign in, made, changed, shut and opened by a data manager. Who is shut out is out at once."""

from datetime import timedelta

import pytest
from sqlalchemy import select

from server.models import StaffAccount, StaffSession
from server.models.staff import SECOND_STEP
from server.staff.account.accounts import AccountProblem, change_role, create_account, shut_account
from server.staff.page.sessions import start_session
from server.trust.last_seen import forget_sessions, last_seen
from server.trust.tries import Client, count_wrong, password_subject, second_step_subject
from tests.staff.account.live_case import NURSE, actions, give_app, go_live
from tests.staff.html_page import read_page
from tests.staff.staff_case import PASSWORD, Staff, StaffCase, send_sign_in

# What a page says is the same on either database.
pytestmark = pytest.mark.parametrize("database_url", ["sqlite"], indirect=True, scope="module")

SURE = {"present_password": PASSWORD}
NEW = {"name": "Ines", "email": "ines@clinic.example", "role": "nurse", **SURE}


@pytest.fixture
def manager(staff: StaffCase) -> Staff:
    return staff.sign_in("data_manager")


def account(staff: StaffCase, account_id: int) -> StaffAccount:
    with staff.case.store.reading() as session:
        return session.get_one(StaffAccount, account_id)


def count(staff: StaffCase) -> int:
    with staff.case.store.reading() as session:
        return len(session.scalars(select(StaffAccount.id)).all())


def try_wrong(staff: StaffCase, subject: str) -> None:
    with staff.case.store.writing() as session:
        for _try in range(10):
            count_wrong(session, subject, Client("127.0.0.1"), now=staff.case.now)


def test_the_list_says_who_can_sign_in_and_who_cannot(staff: StaffCase, manager: Staff) -> None:
    give_app(staff, "surgeon")
    try_wrong(staff, second_step_subject(staff.account_id("surgeon")))
    manager.post(f"/accounts/{staff.account_id()}/shut")
    manager.post("/accounts/new", NEW)
    rows = manager.get("/accounts").text.split("<tr data-row>")[1:]
    said = {name: row for row in rows for name in ("ines@", "surgeon@", "data_manager@", "nurse@") if name in row}
    assert [each for row in rows for each in said if each in row][-1] == "nurse@"  # shut accounts come last
    assert "invited" in said["ines@"] and "not set up" in said["ines@"] and "never" in said["ines@"]
    assert "wrong tries" in said["surgeon@"] and "not set up" not in said["surgeon@"]
    assert ">shut<" in said["nurse@"] and "never" not in said["data_manager@"]
    staff.case.now += timedelta(hours=73)
    staff.signed_in.clear()
    assert "invitation over" in staff.sign_in("data_manager").get("/accounts").text


def test_the_only_account_is_told_to_make_others(staff: StaffCase, manager: Staff) -> None:
    assert "You are the only one yet" not in manager.get("/accounts").text
    with staff.case.store.writing() as session:
        for each in session.scalars(select(StaffAccount).where(StaffAccount.role != "data_manager")):
            session.delete(each)
    assert "You are the only one yet" in manager.get("/accounts").text


def test_two_hundred_accounts_stand_on_pages_of_a_hundred(staff: StaffCase, manager: Staff) -> None:
    with staff.case.store.writing() as session:
        for number in range(200):
            create_account(session, f"n{number}@clinic.example", f"Nurse {number:03}", "nurse", None, staff.case.now)
    first = manager.get("/accounts").text
    second, third = manager.get("/accounts?from=100").text, manager.get("/accounts?from=200").text
    assert [page.count("<tr data-row>") for page in (first, second, third)] == [100, 100, 3]
    assert "1 to 100 of 203" in first and "201 to 203 of 203" in third
    names = [e.text for page in (first, second, third) for e in read_page(page).elements if "data-open" in e.attributes]
    assert len(set(names)) == 203
    assert "so far down the list" in manager.get("/accounts?from=900").text


@pytest.mark.parametrize(
    ("fields", "said"),
    [
        ({"name": " "}, "A name is needed"),
        ({"name": "x" * 81}, "A name is needed"),
        ({"email": "ines"}, "This is no e-mail address"),
        ({"email": "ines@clinic example"}, "This is no e-mail address"),
        ({"email": "Nurse@Clinic.example"}, "already an account"),
        ({"role": ""}, "Choose one of the roles"),
        ({"role": "admin"}, "Choose one of the roles"),
        ({"present_password": "not it"}, "This is not your present password"),
    ],
)
def test_an_account_that_cannot_be_made_is_said_why_and_keeps_what_was_typed(
    staff: StaffCase, manager: Staff, fields: dict[str, str], said: str
) -> None:
    before = count(staff)
    page = manager.post("/accounts/new", {**NEW, **fields})
    assert page.status_code == 422 and said in page.text and 'role="alert"' in page.text
    assert f'value="{fields.get("name", "Ines")}"' in page.text and PASSWORD not in page.text
    assert count(staff) == before


def test_a_data_manager_shuts_an_account_and_opens_it_again(staff: StaffCase, manager: Staff) -> None:
    nurse, number = staff.sign_in("nurse"), staff.account_id()
    assert manager.post(f"/accounts/{number}/shut").location == f"/accounts/{number}?done=account-shut"
    assert nurse.get("/today").status_code == 302
    assert send_sign_in(staff.browser(), NURSE, PASSWORD).status_code == 401
    assert "no, shut since" in manager.get(f"/accounts/{number}").text
    assert manager.post(f"/accounts/{number}/invitation", SURE).status_code == 409
    assert manager.post(f"/accounts/{number}/open").status_code == 422
    assert manager.post(f"/accounts/{number}/open", SURE).location == f"/accounts/{number}?done=account-opened"
    assert nurse.get("/today").status_code == 302
    assert send_sign_in(staff.browser(), NURSE, PASSWORD).status_code == 302
    assert actions(staff, "account:")[-2:] == ["account:shut", "account:opened"]


def test_another_role_ends_the_sessions_of_the_account(staff: StaffCase, manager: Staff) -> None:
    nurse, number = staff.sign_in("nurse"), staff.account_id()
    fields = {"name": "Nell Renamed", "role": "surgeon"}
    assert manager.post(f"/accounts/{number}", fields).status_code == 422
    assert account(staff, number).role == "nurse"
    assert manager.post(f"/accounts/{number}", {**fields, **SURE}).status_code == 302
    assert (account(staff, number).role, account(staff, number).name) == ("surgeon", "Nell Renamed")
    assert nurse.get("/today").status_code == 302
    assert actions(staff, "account:")[-2:] == ["account:name-changed", "account:role-changed"]
    assert "role surgeon" in manager.get("/audit").text


def test_another_name_alone_ends_no_session(staff: StaffCase, manager: Staff) -> None:
    nurse, number = staff.sign_in("nurse"), staff.account_id()
    manager.post(f"/accounts/{number}", {"name": "Nell Renamed", "role": "nurse", **SURE})
    assert "Nell Renamed" in nurse.get("/today").text
    assert manager.post(f"/accounts/{number}", {"name": "", "role": "nurse", **SURE}).status_code == 422
    assert manager.post(f"/accounts/{number}", {"name": "Nell", "role": "chief", **SURE}).status_code == 422
    assert account(staff, number).name == "Nell Renamed"


def test_wrong_tries_are_forgiven_at_once(staff: StaffCase, manager: Staff) -> None:
    number = staff.account_id()
    try_wrong(staff, password_subject(NURSE))
    assert send_sign_in(staff.browser(), NURSE, PASSWORD).status_code == 429
    assert "Forgive the wrong tries" in manager.get(f"/accounts/{number}").text
    assert manager.post(f"/accounts/{number}/unlock").status_code == 422
    assert send_sign_in(staff.browser(), NURSE, PASSWORD).status_code == 429
    assert manager.post(f"/accounts/{number}/unlock", SURE).status_code == 302
    assert send_sign_in(staff.browser(), NURSE, PASSWORD).status_code == 302
    assert "Forgive the wrong tries" not in manager.get(f"/accounts/{number}").text
    assert actions(staff, "account:")[-1:] == ["account:unlocked"]


def sessions(staff: StaffCase, account_id: int) -> list[int]:
    with staff.case.store.reading() as session:
        running = select(StaffSession.id).where(
            StaffSession.account_id == account_id, StaffSession.revoked_at.is_(None)
        )
        return list(session.scalars(running.order_by(StaffSession.id)))


def test_sessions_are_listed_and_ended_one_by_one_or_all(staff: StaffCase, manager: Staff) -> None:
    number, nurse = staff.account_id(), staff.sign_in("nurse")
    for _browser in range(2):
        assert send_sign_in(staff.browser(), NURSE, PASSWORD).status_code == 302
    first, *others = sessions(staff, number)
    assert len(others) == 2 and manager.get(f"/accounts/{number}").text.count("this one") == 0
    assert manager.post(f"/accounts/{number}/sessions/{first}").status_code == 302
    assert nurse.get("/today").status_code == 302 and sessions(staff, number) == others
    assert manager.post(f"/accounts/{number}/sessions").status_code == 302
    assert sessions(staff, number) == []
    assert "Nobody is signed in" in manager.get(f"/accounts/{number}").text
    assert actions(staff, "account:")[-2:] == ["account:sessions-ended"] * 2


def test_a_session_is_ended_only_through_its_own_account(staff: StaffCase, manager: Staff) -> None:
    nurse = staff.sign_in("nurse")
    (other,) = sessions(staff, staff.account_id())
    assert manager.post(f"/accounts/{staff.account_id('surgeon')}/sessions/{other}").status_code == 404
    assert manager.post(f"/accounts/{staff.account_id()}/sessions/987654").status_code == 404
    assert nurse.get("/today").status_code == 200


def test_ending_all_sessions_of_ones_own_keeps_the_one_at_hand(staff: StaffCase, manager: Staff) -> None:
    own = staff.account_id("data_manager")
    send_sign_in(staff.browser(), "data_manager@clinic.example", PASSWORD)
    here, _elsewhere = sessions(staff, own)
    assert "this one" in manager.get(f"/accounts/{own}").text
    assert manager.post(f"/accounts/{own}/sessions/{here}").status_code == 409
    assert manager.post(f"/accounts/{own}/sessions").status_code == 302
    assert sessions(staff, own) == [here]


def test_nobody_shuts_demotes_opens_or_invites_themselves(staff: StaffCase, manager: Staff) -> None:
    go_live(staff)
    own = staff.account_id("data_manager")
    for path in ("shut", "open", "invitation", "second-factor"):
        assert manager.post(f"/accounts/{own}/{path}", SURE).status_code == 409, path
    assert manager.post(f"/accounts/{own}", {"name": "Nell", "role": "nurse", **SURE}).status_code == 409
    assert (account(staff, own).role, account(staff, own).disabled_at) == ("data_manager", None)
    assert manager.post(f"/accounts/{own}", {"name": "Nell M.", **SURE}).status_code == 302
    assert "This is you" in manager.get(f"/accounts/{own}").text


@pytest.mark.parametrize("role", ["nurse", "surgeon"])
def test_other_roles_find_no_account_but_their_own(staff: StaffCase, role: str) -> None:
    member, before = staff.sign_in(role), count(staff)
    assert "/accounts" not in member.get("/account").text
    assert member.post("/accounts/new", NEW).status_code == 403 and count(staff) == before
    for path in ("", "/shut", "/open", "/unlock", "/invitation", "/sessions", "/second-factor"):
        assert member.post(f"/accounts/{staff.account_id()}{path}", SURE).status_code == 403, path
    assert member.get(f"/accounts/{staff.account_id()}").status_code == 403


def test_a_data_manager_who_is_only_invited_does_not_count_as_left(staff: StaffCase, manager: Staff) -> None:
    manager.post("/accounts/new", {**NEW, "role": "data_manager"})
    number, now = staff.account_id("surgeon"), staff.case.now
    with staff.case.store.writing() as session:
        only = session.scalars(select(StaffAccount).where(StaffAccount.name == "Nell Data Manager")).one()
        with pytest.raises(AccountProblem, match="only data manager who can sign in"):
            shut_account(session, only, now=now, real_now=now, by_id=number)
        with pytest.raises(AccountProblem, match="only data manager who can sign in"):
            change_role(session, only, "nurse", now=now, real_now=now, by_id=number)
        assert (only.role, only.disabled_at) == ("data_manager", None)


def test_when_somebody_was_last_seen_outlives_the_session(staff: StaffCase) -> None:
    number, surgeon, now = staff.account_id(), staff.account_id("surgeon"), staff.case.now
    with staff.case.store.writing() as session:
        start_session(session, session.get_one(StaffAccount, number), now=now)
        start_session(session, session.get_one(StaffAccount, surgeon), now=now, stage=SECOND_STEP)
        session.flush()
        assert last_seen(session, [number, surgeon]) == {number: now}
        assert forget_sessions(session, now=now + timedelta(hours=12)) == 2
        session.flush()
        assert last_seen(session, [number, surgeon]) == {number: now}
        start_session(session, session.get_one(StaffAccount, number), now=now + timedelta(days=1))
        session.flush()
        assert last_seen(session, [number]) == {number: now + timedelta(days=1)}
