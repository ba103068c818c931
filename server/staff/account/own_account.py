"""One's own account: password, language, sessions."""

from flask import Response, abort, make_response, redirect, render_template, request, url_for
from werkzeug.wrappers import Response as AnyResponse

from server.models import StaffAccount
from server.staff.account.entering import BUSY
from server.staff.account.invitations import withdraw_invitation
from server.staff.account.passwords import (
    SHORTEST,
    Busy,
    hash_password,
    password_problem,
)
from server.staff.account.present_password import present_password_problem
from server.staff.page import guard, words
from server.staff.page.database import writing
from server.staff.page.request_context import request_context, signed_in
from server.staff.page.sessions import locked_session, revoke_all, start_session
from server.trust.audit import audit
from server.words.catalogue import languages

Problems = dict[str, str]


def account_page() -> str:
    return _account_page({})


def _account_page(problems: dict[str, str]) -> str:
    return render_template(
        "staff/account/account.html",
        problems=problems,
        shortest=SHORTEST,
        languages=[(code, words.own_name(code)) for code in languages("staff")],
        chosen_language=signed_in().language,
    )


def change_language() -> AnyResponse:
    """Empty goes back to the clinic's own language."""
    chosen = request.form.get("language") or None
    if chosen is not None and chosen not in languages("staff"):
        abort(400)
    with writing() as session:
        account = session.get_one(StaffAccount, signed_in().id)
        account.language = chosen
        audit(
            session,
            "account:language",
            f"account {account.id}",
            now=request_context().now,
            by_id=account.id,
            language=chosen or "the clinic's",
        )
    return redirect(url_for("staff.account", done="language"))


def sign_out_elsewhere() -> AnyResponse:
    with writing() as session:
        count = revoke_all(session, signed_in().id, now=request_context().real_now, keep=signed_in().session_id)
        audit(
            session,
            "sign-in:ended-elsewhere",
            f"account {signed_in().id}",
            now=request_context().now,
            by_id=signed_in().id,
            sessions=count,
        )
    return redirect(url_for("staff.account", done="elsewhere-ended"))


def change_password() -> Response | AnyResponse:
    """A new password ends every session of the account; the one at hand goes on under a new cookie.

    While it is checked and hashed nothing is locked. Whoever sets the account anew or shuts it meanwhile has the last word.
    """
    old, new = request.form.get("old_password", ""), request.form.get("new_password", "")
    try:
        problems = _password_problems(old, new)
        new_hash = "" if problems else hash_password(new)
    except Busy:
        return make_response(_account_page({"old_password": words.say(BUSY)}), 503, {"Retry-After": "2"})
    if problems:
        return make_response(_account_page(problems), 422)
    now = request_context().real_now
    with writing() as session:
        # The account's row before the session's, as setting anew takes them: in another order the two could wait for each other.
        account = session.get_one(StaffAccount, signed_in().id, with_for_update={"key_share": True})
        locked_session(session, signed_in())
        account.password_hash = new_hash
        withdraw_invitation(session, account.id)
        revoke_all(session, account.id, now=now)
        secret = start_session(session, account, now=now)
        audit(session, "account:password-changed", f"account {account.id}", now=request_context().now, by_id=account.id)
    response = make_response(redirect(url_for("staff.account", done="password-changed")))
    guard.set_cookie(response, guard.SESSION, secret)
    return response


def _password_problems(old: str, new: str) -> Problems:
    me = signed_in()
    problem = password_problem(new, own=(me.email, me.name, request_context().clinic_name))
    problems = {"new_password": words.say(problem)} if problem else {}
    present = present_password_problem(old)
    return {**problems, "old_password": present} if present else problems
