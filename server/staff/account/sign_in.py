"""Signing in and signing out."""

import math
from datetime import datetime

from flask import Response, make_response, redirect, request, url_for
from sqlalchemy import select
from werkzeug.datastructures import MultiDict
from werkzeug.wrappers import Response as AnyResponse

from server.models import StaffAccount
from server.models.staff import IN
from server.staff.account.client import client, know_device
from server.staff.account.entering import BUSY, go_on, home, paused
from server.staff.account.passwords import Busy, password_matches
from server.staff.account.second_factors import stage_after_password
from server.staff.page import guard, words
from server.staff.page.database import reading, writing
from server.staff.page.request_context import request_context, signed_in, signed_in_or_none
from server.staff.page.sessions import revoke_session, start_session
from server.trust.audit import audit
from server.trust.tries import count_right, count_wrong, password_subject, paused_until
from server.words.phrase import phrase

NO_MATCH = phrase(
    "That did not match. Check the e-mail address and the password. After several wrong tries signing in pauses for a while."
)


def sign_in_page() -> Response | AnyResponse:
    found = signed_in_or_none()
    if found is not None and found.stage == IN:
        return redirect(home())
    return guard.sign_in_page()


def sign_in() -> Response | AnyResponse:
    """Signs in, or shows the page again with one answer for every way to be wrong. The password is checked outside any transaction."""
    email = request.form.get("email", "").strip().lower()
    try:
        tried = _try(email, request.form.get("password", ""))
    except Busy:
        return _refused(email, words.say(BUSY), 503, {"Retry-After": "2"})
    if isinstance(tried, datetime):
        seconds = math.ceil((tried - request_context().real_now).total_seconds())
        return _refused(email, paused(tried), 429, {"Retry-After": str(seconds)})
    if tried is None:
        return _refused(email, words.say(NO_MATCH), 401)
    response = go_on(tried)
    if signed_in().stage == IN:
        know_device(response, password_subject(email))
    return response


def _refused(email: str, problem: str, status: int, headers: dict[str, str] | None = None) -> Response:
    response = guard.sign_in_page(
        problem=problem,
        email=email,
        keep=MultiDict(guard.kept_fields()),
        keep_path=guard.own_path(request.form.get(guard.KEPT_PATH, "")),
        status=status,
    )
    response.headers.update(headers or {})
    return response


def _try(email: str, password: str) -> str | datetime | None:
    """A new session's secret; until when this place is paused; or None. Raises Busy.

    The same work for an unknown, a closed and a wrong one: a hash, then a write.
    """
    here, now, subject = client(), request_context().real_now, password_subject(email)
    with reading() as session:
        until = paused_until(session, subject, here, now=now)
        known = session.scalar(select(StaffAccount.password_hash).where(StaffAccount.email == email))
    if until is not None:
        return until
    matches = password_matches(password, known)
    with writing() as session:
        # Read again inside the transaction: of many tries at once, only as many count as the pause allows.
        until = paused_until(session, subject, here, now=now)
        if until is not None:
            return until
        account = session.scalar(select(StaffAccount).where(StaffAccount.email == email))
        thing = f"account {account.id}" if account else "account unknown"
        if account is None or account.disabled_at is not None or not matches or account.password_hash != known:
            failures = count_wrong(session, subject, here, now=now)
            audit(session, "sign-in:refused", thing, now=request_context().now, failures=failures)
            return None
        count_right(session, subject, here, now=now)
        stage = stage_after_password(session, account.id, demo=request_context().demo)
        done = "sign-in:done" if stage == IN else "sign-in:password-right"
        audit(session, done, thing, now=request_context().now, by_id=account.id)
        return start_session(session, account, now=now, stage=stage)


def sign_out() -> Response:
    with writing() as session:
        revoke_session(session, signed_in().session_id, now=request_context().real_now)
        audit(session, "sign-in:ended", f"account {signed_in().id}", now=request_context().now, by_id=signed_in().id)
    response = make_response(redirect(url_for("staff.sign_in", done="signed-out")))
    guard.drop_cookie(response, guard.SESSION)
    return response
