"""Two data managers act on each other at one moment, on either database: one of them is left."""

from collections.abc import Callable
from threading import Barrier, Thread

import pytest
from sqlalchemy import select

from server.models import StaffAccount
from server.staff.account import one_account
from server.staff.account.accounts import create_account
from server.staff.account.invitations import invited_account, use_invitation
from server.staff.page.sessions import start_session
from tests.staff.staff_case import PASSWORD, SECRET, Staff, StaffCase, password_hash

LONGEST = 60


def second_manager(staff: StaffCase) -> tuple[int, Staff]:
    """Another data manager, signed in."""
    with staff.case.store.writing() as session:
        account = create_account(
            session, "other@clinic.example", "Olga Other", "data_manager", password_hash(), staff.case.now
        )
        number, cookie = account.id, start_session(session, account, now=staff.case.now)
    client = staff.browser()
    client.set_cookie("yearmark-staff", cookie)
    return number, Staff(client, SECRET.findall(client.get("/account").text)[0])


def at_once(*works: Callable[[], object]) -> None:
    threads = [Thread(target=work) for work in works]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join(LONGEST)
    assert not any(thread.is_alive() for thread in threads)


@pytest.mark.parametrize("what", ["shut", "demote"])
def test_of_two_who_keep_each_other_out_one_is_left(
    staff: StaffCase, monkeypatch: pytest.MonkeyPatch, what: str
) -> None:
    first, first_id = staff.sign_in("data_manager"), staff.account_id("data_manager")
    other_id, other = second_manager(staff)
    both_there = Barrier(2, timeout=LONGEST)

    def meeting(account_id: int) -> None:
        """Each has passed every check of the request before either begins to write."""
        both_there.wait()

    monkeypatch.setattr(one_account, "_another", meeting)
    monkeypatch.setattr(one_account, "_refused", meeting)
    answers: list[int] = []

    def act(who: Staff, whom: int) -> None:
        path, fields = (
            (f"/accounts/{whom}/shut", {}) if what == "shut" else (f"/accounts/{whom}", {"name": "N", "role": "nurse"})
        )
        answers.append(who.post(path, fields).status_code)

    at_once(lambda: act(first, other_id), lambda: act(other, first_id))
    assert sorted(answers) == [302, 401]
    with staff.case.store.reading() as session:
        left = select(StaffAccount.id).where(StaffAccount.role == "data_manager", StaffAccount.disabled_at.is_(None))
        assert len(session.scalars(left).all()) == 1


def test_of_two_who_use_one_invitation_one_chooses_the_password(staff: StaffCase) -> None:
    manager = staff.sign_in("data_manager")
    page = manager.post(f"/accounts/{staff.account_id()}/invitation", {"present_password": PASSWORD})
    token = page.text.split("/invitation#")[1].split("<")[0]
    both_there = Barrier(2, timeout=LONGEST)
    used: list[str] = []

    def use(password_hash: str) -> None:
        now = staff.case.now
        with staff.case.store.reading() as session:
            assert invited_account(session, token, real_now=now) is not None
        both_there.wait()
        with staff.case.store.writing() as session:
            if use_invitation(session, token, password_hash, now=now, real_now=now):
                used.append(password_hash)

    at_once(lambda: use("one"), lambda: use("two"))
    assert len(used) == 1
    with staff.case.store.reading() as session:
        assert session.get_one(StaffAccount, staff.account_id()).password_hash == used[0]
