"""For data managers: one account, and what can be done with it. Nobody does it to their own: a slip would lock them out.

What lets somebody in asks for the present password: an invitation, a role, opening an account, forgiving wrong tries, resetting a
second step. What keeps somebody out does not.
"""

from flask import Response, abort, make_response, redirect, render_template, request, url_for
from sqlalchemy.orm import Session
from werkzeug.wrappers import Response as AnyResponse

from server.models import StaffAccount, StaffSession
from server.models.staff import ROLES
from server.staff.account.account_list import account_row, running_sessions
from server.staff.account.accounts import (
    AccountProblem,
    change_role,
    locked_account,
    open_account,
    rename_account,
    shut_account,
    unlock_account,
)
from server.staff.account.entering import BUSY
from server.staff.account.handing_over import hand_over
from server.staff.account.invitations import invite
from server.staff.account.passwords import Busy
from server.staff.account.present_password import present_password_problem
from server.staff.account.second_factors import reset_second_factors
from server.staff.page import words
from server.staff.page.database import reading, writing
from server.staff.page.request_context import request_context, signed_in
from server.staff.page.sessions import locked_session, revoke_all, revoke_session
from server.trust.audit import audit
from server.words import labels


def one_account(account_id: int) -> Response:
    return _page(account_id, "")


def _page(account_id: int, problem: str, status: int = 200) -> Response:
    """One problem at a time, above the forms; what was typed stays."""
    here = request_context()
    with reading() as session:
        account = account_row(session, account_id, real_now=here.real_now)
        if account is None:
            abort(404)
        page = render_template(
            "staff/account/one_account.html",
            account=account,
            sessions=running_sessions(session, account_id, real_now=here.real_now),
            own=account_id == signed_in().id,
            values={"name": account.name, "role": account.role, **request.form},
            roles=[(role, labels.ROLE[role]) for role in ROLES],
            problem=problem,
            shown=here.shown,
        )
    return make_response(page, status)


def _refused(account_id: int) -> Response | None:
    """The page with what is wrong, unless this is really whoever signed in."""
    try:
        problem = present_password_problem(request.form.get("present_password", ""))
    except Busy:
        return _page(account_id, words.say(BUSY), 503)
    return _page(account_id, problem, 422) if problem else None


def _another(account_id: int) -> None:
    if account_id == signed_in().id:
        abort(409)


def _taken(session: Session, account_id: int) -> StaffAccount:
    """The account, to be changed by somebody who is still signed in: of two who shut each other at one moment only one is."""
    account = locked_account(session, account_id)
    locked_session(session, signed_in())
    if account is None:
        abort(404)
    return account


def _done(account_id: int, word: str) -> AnyResponse:
    return redirect(url_for("staff.one_account", account_id=account_id, done=word))


def change_account(account_id: int) -> AnyResponse:
    """Name and role; of one's own the name alone."""
    refused = _refused(account_id)
    if refused is not None:
        return refused
    me, here = signed_in(), request_context()
    try:
        with writing() as session:
            account = _taken(session, account_id)
            role = request.form.get("role", account.role)
            if account_id == me.id and role != account.role:
                abort(409)
            rename_account(session, account, request.form.get("name", ""), now=here.now, by_id=me.id)
            change_role(session, account, role, now=here.now, real_now=here.real_now, by_id=me.id)
    except AccountProblem as problem:
        return _page(account_id, words.say(problem.sentence), 422)
    return _done(account_id, "account-changed")


def invite_again(account_id: int) -> Response:
    """A new link; the older one ends. A password that the account has stays good until the link is used."""
    _another(account_id)
    refused = _refused(account_id)
    if refused is not None:
        return refused
    here = request_context()
    with writing() as session:
        account = _taken(session, account_id)
        if account.disabled_at is not None:
            abort(409)
        secret = invite(session, account, now=here.now, real_now=here.real_now, by_id=signed_in().id)
    return hand_over(account_id, secret)


def shut(account_id: int) -> AnyResponse:
    _another(account_id)
    here = request_context()
    try:
        with writing() as session:
            account = _taken(session, account_id)
            shut_account(session, account, now=here.now, real_now=here.real_now, by_id=signed_in().id)
    except AccountProblem as problem:
        return _page(account_id, words.say(problem.sentence), 422)
    return _done(account_id, "account-shut")


def open_again(account_id: int) -> AnyResponse:
    _another(account_id)
    refused = _refused(account_id)
    if refused is not None:
        return refused
    with writing() as session:
        open_account(session, _taken(session, account_id), now=request_context().now, by_id=signed_in().id)
    return _done(account_id, "account-opened")


def unlock(account_id: int) -> AnyResponse:
    refused = _refused(account_id)
    if refused is not None:
        return refused
    with writing() as session:
        unlock_account(session, _taken(session, account_id), now=request_context().now, by_id=signed_in().id)
    return _done(account_id, "account-unlocked")


def end_sessions(account_id: int) -> AnyResponse:
    """Of one's own all but this one."""
    here = request_context()
    with writing() as session:
        account = _taken(session, account_id)
        count = revoke_all(session, account.id, now=here.real_now, keep=signed_in().session_id)
        _audit_ended(session, account_id, count)
    return _done(account_id, "sessions-ended")


def end_session(account_id: int, session_id: int) -> AnyResponse:
    """Only a session of this account; the one at hand is ended by signing out."""
    if session_id == signed_in().session_id:
        abort(409)
    with writing() as session:
        account = _taken(session, account_id)
        row = session.get(StaffSession, session_id)
        if row is None or row.account_id != account.id:
            abort(404)
        if row.revoked_at is None:
            revoke_session(session, session_id, now=request_context().real_now)
            _audit_ended(session, account_id, 1)
    return _done(account_id, "session-ended")


def _audit_ended(session: Session, account_id: int, count: int) -> None:
    now, by_id = request_context().now, signed_in().id
    audit(session, "account:sessions-ended", f"account {account_id}", now=now, by_id=by_id, sessions=count)


def reset_second_factor(account_id: int) -> AnyResponse:
    """For somebody who lost every device and code and whom the data manager knows. Nobody resets their own."""
    here = request_context()
    if here.demo:
        abort(409)
    _another(account_id)
    refused = _refused(account_id)
    if refused is not None:
        return refused
    with writing() as session:
        account = _taken(session, account_id)
        reset_second_factors(session, account, now=here.now, real_now=here.real_now, by_id=signed_in().id)
    return _done(account_id, "factor-reset")
