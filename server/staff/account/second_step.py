"""The second step of signing in: a passkey, the code of an app, or a recovery code."""

from flask import Response, request, url_for
from sqlalchemy.orm import Session
from werkzeug.wrappers import Response as AnyResponse

from server.models import StaffAccount
from server.staff.account.authenticator_apps import app_code_is_right
from server.staff.account.client import client, know_device
from server.staff.account.entering import go_on, party, paused, second_step_page
from server.staff.account.passkeys import passkey_is_right
from server.staff.account.recovery_codes import recovery_code_is_right, recovery_codes_unconfirmed
from server.staff.page import guard, words
from server.staff.page.database import writing
from server.staff.page.request_context import request_context, signed_in
from server.staff.page.sessions import revoke_session, start_session
from server.trust.audit import audit
from server.trust.tries import count_right, count_wrong, password_subject, paused_until, second_step_subject
from server.words.phrase import phrase

RECOVERY = "recovery code"
NO_MATCH = phrase(
    "That did not match, or it was used before. An app shows a new code every half minute; a recovery code is good once."
)


def page() -> Response:
    return second_step_page()


def second_step() -> Response | AnyResponse:
    """Signs in with a new session, or asks again. Wrong ones are counted apart from wrong passwords and pause in the same way."""
    me, here, now = signed_in(), client(), request_context().real_now
    subject, thing = second_step_subject(me.id), f"account {me.id}"
    secret, unconfirmed = "", False
    with writing() as session:
        until = paused_until(session, subject, here, now=now)
        used = _right(session) if until is None else ""
        if used:
            count_right(session, subject, here, now=now)
            unconfirmed = recovery_codes_unconfirmed(session, me.id)
            revoke_session(session, me.session_id, now=now)
            secret = start_session(session, session.get_one(StaffAccount, me.id), now=now)
            audit(session, "sign-in:done", thing, now=request_context().now, by_id=me.id, second_step=used)
        elif until is None:
            failures = count_wrong(session, subject, here, now=now)
            audit(session, "sign-in:second-step-refused", thing, now=request_context().now, failures=failures)
    if until is not None:
        return second_step_page(paused(until), 429)
    if not used:
        return second_step_page(words.say(NO_MATCH), 401)
    response = go_on(secret)
    if (used == RECOVERY or unconfirmed) and not request.form.get(guard.KEPT_PATH):
        done = "recovery-code-used" if used == RECOVERY else None
        response.location = url_for("staff.second_factor", done=done)
    know_device(response, password_subject(me.email), subject)
    return response


def _right(session: Session) -> str:
    """Which of the three was given and is right, or ""."""
    me, now = signed_in(), request_context().real_now
    credential, code = request.form.get("credential", ""), request.form.get("code", "")
    if credential:
        return "passkey" if passkey_is_right(session, me, party(), credential, now=now) else ""
    if code.strip():
        return "app" if app_code_is_right(session, me, code, now=now) else ""
    typed = request.form.get("recovery_code", "")
    return RECOVERY if typed and recovery_code_is_right(session, me.id, typed, now=now) else ""
