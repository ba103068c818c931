"""The page that an invitation leads to. The link's secret stands after "#", so the browser keeps it until the form is sent."""

import secrets

from flask import Response, make_response, render_template, request
from werkzeug.wrappers import Response as AnyResponse

from server.models.staff import IN
from server.staff.account.client import know_device
from server.staff.account.entering import BUSY, go_on
from server.staff.account.invitations import invited_account, use_invitation
from server.staff.account.passwords import SHORTEST, Busy, hash_password, password_problem
from server.staff.account.second_factors import stage_after_password
from server.staff.page import guard, words
from server.staff.page.database import reading, writing
from server.staff.page.request_context import request_context, signed_in
from server.staff.page.sessions import start_session
from server.trust.tries import password_subject
from server.words.phrase import phrase

NOT_GOOD = phrase(
    "This invitation is not good, or not any more: each is good once and for three days, and a new one ends the older. Nothing is "
    "changed. Ask the data manager of your clinic for a new one, or sign in if you have chosen a password."
)


def invitation_page() -> Response:
    return _page()


def _page(problem: str = "", status: int = 200, *, good: bool = False) -> Response:
    """`good`: the invitation was looked at and a password is asked for."""
    form_secret = request.cookies.get(guard.cookie_name(guard.BEFORE_SIGN_IN)) or secrets.token_urlsafe(32)
    page = render_template(
        "staff/account/invitation.html",
        problem=problem,
        good=good,
        invitation=request.form.get("invitation", ""),
        form_secret=form_secret,
        shortest=SHORTEST,
    )
    response = make_response(page, status)
    guard.set_cookie(response, guard.BEFORE_SIGN_IN, form_secret)
    return response


def choose_password() -> Response | AnyResponse:
    """Sets the password and goes on to the second step. Every invitation that is not good gets one answer, whatever the password.

    Without a password it only looks whether the invitation is good, so that nobody thinks one up for one that is over.
    """
    given, password = request.form.get("invitation", "").strip(), request.form.get("new_password")
    here = request_context()
    with reading() as session:
        invited = invited_account(session, given, real_now=here.real_now)
    if invited is None:
        return _page(words.say(NOT_GOOD), 422)
    if password is None:
        return _page(good=True)
    problem = password_problem(password, own=(invited.email, invited.name, here.clinic_name))
    if problem:
        return _page(words.say(problem), 422, good=True)
    try:
        password_hash = hash_password(password)
    except Busy:
        return _page(words.say(BUSY), 503, good=True)
    secret = ""
    with writing() as session:
        account = use_invitation(session, given, password_hash, now=here.now, real_now=here.real_now)
        if account is not None:
            stage = stage_after_password(session, account.id, demo=here.demo)
            secret = start_session(session, account, now=here.real_now, stage=stage)
    if not secret:
        return _page(words.say(NOT_GOOD), 422)
    response = go_on(secret)
    if signed_in().stage == IN:
        know_device(response, password_subject(signed_in().email))
    return response
