"""Signing in, signing out, and one's own account."""

from flask import Response, abort, g, make_response, redirect, render_template, request, url_for
from sqlalchemy import select
from werkzeug.datastructures import MultiDict
from werkzeug.wrappers import Response as AnyResponse

from server.models import StaffAccount
from server.staff.account.accounts import shut_account
from server.staff.account.passwords import SHORTEST, hash_password, password_matches, password_problem
from server.staff.page import guard, words
from server.staff.page.database import reading, writing
from server.staff.page.request_context import request_context, runtime, signed_in, signed_in_or_none
from server.staff.page.sessions import (
    count_failure,
    find_session,
    is_paused,
    revoke_others,
    revoke_session,
    start_session,
)
from server.trust.audit import audit
from server.words.catalogue import languages
from server.words.phrase import phrase

NO_MATCH = phrase(
    "That did not match. Check the e-mail address and the password. "
    "After several wrong tries an account pauses, for 15 minutes at most."
)
HOME = {"nurse": "/today", "surgeon": "/today", "data_manager": "/held"}


def sign_in_page() -> Response | AnyResponse:
    found = signed_in_or_none()
    if found is not None:
        return redirect(HOME[found.role])
    return guard.sign_in_page()


def sign_in() -> Response | AnyResponse:
    """Signs in, or shows the page again with one answer for every way to be wrong. The password is checked outside any transaction."""
    email = request.form.get("email", "").strip().lower()
    secret = _try(email, request.form.get("password", ""))
    if secret is None:
        return _refused(email)
    with reading() as session:
        g.signed_in = find_session(session, secret, now=request_context().real_now)
    kept_path = guard.own_path(request.form.get(guard.KEPT_PATH, ""))
    if kept_path:
        response: Response = guard.send_again(signed_in(), kept_path, guard.kept_fields())
    else:
        wanted = guard.own_path(request.args.get("next", ""))
        response = make_response(redirect(wanted or HOME[signed_in().role]))
    guard.set_cookie(response, guard.SESSION, secret)
    guard.drop_cookie(response, guard.BEFORE_SIGN_IN)
    return response


def _refused(email: str) -> Response:
    return guard.sign_in_page(
        problem=words.say(NO_MATCH),
        email=email,
        keep=MultiDict(guard.kept_fields()),
        keep_path=guard.own_path(request.form.get(guard.KEPT_PATH, "")),
        status=401,
    )


def _try(email: str, password: str) -> str | None:
    """A new session's secret, or None. The same work for an unknown, a closed, a paused and a wrong one: a hash, then a write."""
    with reading() as session:
        known = session.scalar(select(StaffAccount.password_hash).where(StaffAccount.email == email))
    matches = password_matches(password, known)
    now = runtime().real_clock()
    with writing() as session:
        account = session.scalar(select(StaffAccount).where(StaffAccount.email == email))
        thing = f"account {account.id}" if account else "account unknown"
        # Read again inside the transaction: of many tries at once, only as many count as the pause allows.
        if account is None or account.disabled_at is not None or is_paused(account, now):
            audit(session, "sign-in:refused", thing, now=request_context().now)
            return None
        if not matches or account.password_hash != known:
            count_failure(account, now)
            audit(session, "sign-in:refused", thing, now=request_context().now, failures=account.failures)
            return None
        audit(session, "sign-in:done", thing, now=request_context().now, by_id=account.id)
        return start_session(session, account, now=now)


def sign_out() -> Response:
    with writing() as session:
        revoke_session(session, signed_in().session_id, now=request_context().real_now)
        audit(session, "sign-in:ended", f"account {signed_in().id}", now=request_context().now, by_id=signed_in().id)
    response = make_response(redirect(url_for("staff.sign_in", done="signed-out")))
    guard.drop_cookie(response, guard.SESSION)
    return response


def account_page() -> str:
    return _account_page({})


def _account_page(problems: dict[str, str]) -> str:
    accounts: list[StaffAccount] = []
    if signed_in().role == "data_manager":
        with reading() as session:
            accounts = list(session.scalars(select(StaffAccount).order_by(StaffAccount.email)))
    return render_template(
        "staff/account/account.html",
        problems=problems,
        shortest=SHORTEST,
        accounts=accounts,
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


def shut(account_id: int) -> AnyResponse:
    """One's own account stays open: the clinic must not lock itself out by a slip."""
    if account_id == signed_in().id:
        abort(409)
    with writing() as session:
        account = session.get(StaffAccount, account_id)
        if account is None:
            abort(404)
        shut_account(session, account, now=request_context().real_now, by_id=signed_in().id)
    return redirect(url_for("staff.account", done="account-shut"))


def sign_out_elsewhere() -> AnyResponse:
    with writing() as session:
        count = revoke_others(session, signed_in().id, now=request_context().real_now, keep=signed_in().session_id)
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
    old, new = request.form.get("old_password", ""), request.form.get("new_password", "")
    problems = _password_problems(old, new)
    if problems:
        return make_response(_account_page(problems), 422)
    new_hash = hash_password(new)
    with writing() as session:
        account = session.get_one(StaffAccount, signed_in().id)
        account.password_hash = new_hash
        revoke_others(session, account.id, now=request_context().real_now, keep=signed_in().session_id)
        audit(session, "account:password-changed", f"account {account.id}", now=request_context().now, by_id=account.id)
    return redirect(url_for("staff.account", done="password-changed"))


def _password_problems(old: str, new: str) -> dict[str, str]:
    problem = password_problem(new, email=signed_in().email)
    problems = {"new_password": words.say(problem)} if problem else {}
    with reading() as session:
        account = session.get_one(StaffAccount, signed_in().id)
        known, paused = account.password_hash, is_paused(account, request_context().real_now)
    if paused or not password_matches(old, known):
        problems["old_password"] = words.gettext(
            "This is not your present password, or it was tried too often; then wait 15 minutes."
        )
        with writing() as session:
            count_failure(session.get_one(StaffAccount, signed_in().id), request_context().real_now)
    return problems
