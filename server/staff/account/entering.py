"""What follows a right password and a right second factor, and what is said when one is wrong."""

from datetime import datetime, timedelta

from flask import Response, g, make_response, redirect, render_template, request, url_for
from sqlalchemy import select

from server.installation.readiness import something_is_open
from server.models import StaffAuthenticatorApp
from server.models.staff import SECOND_STEP, SET_UP
from server.staff.account.passkeys import RelyingParty, relying_party, request_options
from server.staff.page import guard, words
from server.staff.page.database import reading, writing
from server.staff.page.request_context import request_context, runtime, signed_in
from server.staff.page.sessions import find_session
from server.words.phrase import phrase

BUSY = phrase("Several people are signing in at this moment. Nothing was looked at; please send it again.")
HOME = {"nurse": "/today", "surgeon": "/today", "data_manager": "/held"}
READINESS = "/ready"


def paused(until: datetime) -> str:
    """Said to everybody in a paused place, whatever they send: it tells nothing about account or password."""
    here = request_context()
    shown = here.shown(until) + timedelta(seconds=59)  # never a minute too early
    return words.say(
        phrase(
            "There were too many wrong tries, so this is paused here until %(until)s. Until then nothing is looked at, not even "
            "what is right. Wait, or use a device on which you have signed in before.",
            until=words.moment(shown, here.time_zone),
        )
    )


def home() -> str:
    """The first page of whoever has signed in: the role's own, or Readiness for the data manager of a live clinic with open points."""
    here = request_context()
    if signed_in().role != "data_manager" or here.demo:
        return HOME[signed_in().role]
    with reading() as session:
        return READINESS if something_is_open(runtime(), session, now=here.real_now) else HOME["data_manager"]


def go_on(secret: str) -> Response:
    """With a new session: to the second factor, to setting one up, or to what was wanted in the first place."""
    with reading() as session:
        g.signed_in = find_session(session, secret, now=request_context().real_now)
    kept_path = guard.own_path(request.form.get(guard.KEPT_PATH, ""))
    wanted = guard.own_path(request.args.get("next", ""))
    if signed_in().stage == SECOND_STEP and kept_path:
        response = second_step_page()
    elif signed_in().stage == SECOND_STEP:
        response = make_response(redirect(url_for("staff.second_step", next=wanted or None)))
    elif signed_in().stage == SET_UP:
        response = make_response(redirect(url_for("staff.second_factor")))
    elif kept_path:
        response = guard.send_again(signed_in(), kept_path, guard.kept_fields())
    else:
        response = make_response(redirect(wanted or home()))
    guard.set_cookie(response, guard.SESSION, secret)
    guard.drop_cookie(response, guard.BEFORE_SIGN_IN)
    return response


def second_step_page(problem: str = "", status: int = 200) -> Response:
    """Asks for the second factor; what was being typed when an earlier session ended travels along."""
    me = signed_in()
    with writing() as session:
        options = request_options(session, me, party(), now=request_context().real_now)
        apps = select(StaffAuthenticatorApp.id).where(StaffAuthenticatorApp.account_id == me.id)
        has_app = session.scalars(apps).first() is not None
    page = render_template(
        "staff/account/second_step.html",
        problem=problem,
        options=options,
        has_app=has_app,
        keep_path=guard.own_path(request.form.get(guard.KEPT_PATH, "")),
        kept=guard.kept_fields(),
        wanted=guard.own_path(request.args.get("next", "")) or None,
    )
    return make_response(page, status)


def party() -> RelyingParty:
    return relying_party(request_context().base_url, request_context().clinic_name)
