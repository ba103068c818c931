"""Accounts: made or set anew on the server, shut by the data manager. Who is shut out is out at once."""

import pytest
from sqlalchemy import select

from server.models import AuditEntry, StaffAccount
from server.staff.account import own_account
from server.staff.account.accounts import account_named, hash_password, make_account_or_say_why, shut_account
from server.staff.account.invitations import invite, invited_account
from server.trust.tries import Client, count_wrong, password_subject
from tests.staff.staff_case import PASSWORD, StaffCase, send_sign_in

# What a page says is the same on either database.
pytestmark = pytest.mark.parametrize("database_url", ["sqlite"], indirect=True, scope="module")

NURSE = "nurse@clinic.example"
NEW = "seven grey geese flying over"


def account(staff: StaffCase, email: str = NURSE) -> StaffAccount:
    with staff.case.store.reading() as session:
        return session.scalars(select(StaffAccount).where(StaffAccount.email == email)).one()


def actions(staff: StaffCase) -> list[str]:
    with staff.case.store.reading() as session:
        return list(session.scalars(select(AuditEntry.action).where(AuditEntry.action.like("account:%"))))


def set_anew(staff: StaffCase, *, email: str = NURSE, password: str = NEW, role: str = "surgeon") -> str | None:
    return make_account_or_say_why(staff.case.runtime, email=email, name="Nell Renamed", role=role, password=password)


def test_an_account_that_exists_gets_the_new_password_and_role(staff: StaffCase) -> None:
    before = account(staff)
    assert set_anew(staff, email=f" {NURSE.upper()}") is None
    after = account(staff)
    assert (after.id, after.role, after.name) == (before.id, "surgeon", "Nell Renamed")
    assert send_sign_in(staff.browser(), NURSE, PASSWORD).status_code == 401
    assert send_sign_in(staff.browser(), NURSE, NEW).location == "/today"
    assert actions(staff)[-1] == "account:set-anew"


def test_setting_an_account_anew_ends_its_sessions_and_its_pause(staff: StaffCase) -> None:
    nurse = staff.sign_in("nurse")
    with staff.case.store.writing() as session:
        session.get_one(StaffAccount, account(staff).id).disabled_at = staff.case.now
        for _try in range(10):
            count_wrong(session, password_subject(NURSE), Client("127.0.0.1"), now=staff.case.now)
    assert send_sign_in(staff.browser(), NURSE, PASSWORD).status_code == 429
    assert set_anew(staff) is None
    assert nurse.get("/today").status_code == 302
    assert send_sign_in(staff.browser(), NURSE, NEW).status_code == 302


@pytest.mark.parametrize("what", ["set anew", "shut"])
def test_a_password_that_is_being_changed_does_not_undo_what_others_do_meanwhile(
    staff: StaffCase, monkeypatch: pytest.MonkeyPatch, what: str
) -> None:
    nurse = staff.sign_in("nurse")

    def hashed_while_others_act(password: str) -> str:
        """Between the check of the present password and the transaction that keeps the new one."""
        if what == "set anew":
            assert set_anew(staff) is None
        else:
            with staff.case.store.writing() as session:
                found = account_named(session, NURSE)
                assert found is not None
                shut_account(
                    session,
                    found,
                    now=staff.case.now,
                    real_now=staff.case.now,
                    by_id=staff.account_id("data_manager"),
                )
        return hash_password(password)

    monkeypatch.setattr(own_account, "hash_password", hashed_while_others_act)
    fields = {"old_password": PASSWORD, "new_password": "what a thief would like"}
    said = nurse.post("/account/password", fields)
    assert said.status_code == 401 and "Nothing is changed; please sign in again" in said.text
    assert "account:password-changed" not in actions(staff)
    assert nurse.get("/today").status_code == 302
    assert send_sign_in(staff.browser(), NURSE, fields["new_password"]).status_code == 401
    assert send_sign_in(staff.browser(), NURSE, NEW).status_code == (302 if what == "set anew" else 401)


def test_a_short_password_changes_nothing(staff: StaffCase) -> None:
    assert "at least 15 characters" in (set_anew(staff, password="short") or "")
    assert account(staff).role == "nurse"
    assert send_sign_in(staff.browser(), NURSE, PASSWORD).status_code == 302


def test_setting_an_account_anew_ends_an_invitation_that_waits(staff: StaffCase) -> None:
    with staff.case.store.writing() as session:
        found = account_named(session, NURSE)
        assert found is not None
        secret = invite(session, found, now=staff.case.now, real_now=staff.case.now, by_id=found.id)
    assert set_anew(staff) is None
    with staff.case.store.reading() as session:
        assert invited_account(session, secret, real_now=staff.case.now) is None


def test_the_command_leaves_one_data_manager(staff: StaffCase) -> None:
    manager = "data_manager@clinic.example"
    assert "only data manager who can sign in" in (set_anew(staff, email=manager) or "")
    assert account(staff, manager).role == "data_manager"
    assert set_anew(staff, email=manager, role="data_manager") is None
