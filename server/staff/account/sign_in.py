"""Signing in and signing out."""

import math
from datetime import datetime, timedelta

from flask import Response, g, make_response, redirect, request, url_for
from sqlalchemy import select
from werkzeug.datastructures import MultiDict
from werkzeug.wrappers import Response as AnyResponse

from server.models import StaffAccount
from server.staff.account.client import client, know_device
from server.staff.account.passwords import Busy, password_matches
from server.staff.page import guard, words
from server.staff.page.database import reading, writing
from server.staff.page.request_context import request_context, signed_in, signed_in_or_none
from server.staff.page.sessions import find_session, revoke_session, start_session
from server.trust.audit import audit
from server.trust.tries import count_right, count_wrong, paused_until
from server.words.phrase import phrase

NO_MATCH = phrase(
    "That did not match. Check the e-mail address and the password. After several wrong tries signing in pauses for a while."
)
BUSY = phrase("Several people are signing in at this moment. Nothing was looked at; please send it again.")
HOME = {"nurse": "/today", "surgeon": "/today", "data_manager": "/held"}


def sign_in_page() -> Response | AnyResponse:
    found = signed_in_or_none()
    if found is not None:
        return redirect(HOME[found.role])
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
    with reading() as session:
        g.signed_in = find_session(session, tried, now=request_context().real_now)
    kept_path = guard.own_path(request.form.get(guard.KEPT_PATH, ""))
    if kept_path:
        response: Response = guard.send_again(signed_in(), kept_path, guard.kept_fields())
    else:
        wanted = guard.own_path(request.args.get("next", ""))
        response = make_response(redirect(wanted or HOME[signed_in().role]))
    guard.set_cookie(response, guard.SESSION, tried)
    guard.drop_cookie(response, guard.BEFORE_SIGN_IN)
    know_device(response, email)
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


def paused(until: datetime) -> str:
    """Said to everybody in a paused place, whatever they send: it tells nothing about account or password."""
    here = request_context()
    # By the clinic's clock, which a demo may have set forward, and never a minute too early.
    shown = here.now + (until - here.real_now) + timedelta(seconds=59)
    return words.say(
        phrase(
            "There were too many wrong tries, so this is paused here until %(until)s. Until then nothing is looked at, not even "
            "what is right. Wait, or use a device on which you have signed in before.",
            until=words.moment(shown, here.time_zone),
        )
    )


def _try(email: str, password: str) -> str | datetime | None:
    """A new session's secret; until when this place is paused; or None. Raises Busy.

    The same work for an unknown, a closed and a wrong one: a hash, then a write.
    """
    here, now = client(), request_context().real_now
    with reading() as session:
        until = paused_until(session, email, here, now=now)
        known = session.scalar(select(StaffAccount.password_hash).where(StaffAccount.email == email))
    if until is not None:
        return until
    matches = password_matches(password, known)
    with writing() as session:
        # Read again inside the transaction: of many tries at once, only as many count as the pause allows.
        until = paused_until(session, email, here, now=now)
        if until is not None:
            return until
        account = session.scalar(select(StaffAccount).where(StaffAccount.email == email))
        thing = f"account {account.id}" if account else "account unknown"
        if account is None or account.disabled_at is not None or not matches or account.password_hash != known:
            failures = count_wrong(session, email, here, now=now)
            audit(session, "sign-in:refused", thing, now=request_context().now, failures=failures)
            return None
        count_right(session, email, here, now=now)
        audit(session, "sign-in:done", thing, now=request_context().now, by_id=account.id)
        return start_session(session, account, now=now)


def sign_out() -> Response:
    with writing() as session:
        revoke_session(session, signed_in().session_id, now=request_context().real_now)
        audit(session, "sign-in:ended", f"account {signed_in().id}", now=request_context().now, by_id=signed_in().id)
    response = make_response(redirect(url_for("staff.sign_in", done="signed-out")))
    guard.drop_cookie(response, guard.SESSION)
    return response
