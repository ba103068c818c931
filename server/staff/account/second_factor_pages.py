"""Setting second factors up and looking after them. Of a demo these pages do not exist: there nobody is asked for one."""

from flask import Response, abort, g, make_response, redirect, render_template, request, url_for
from markupsafe import Markup
from segno import make as qr_code
from sqlalchemy.orm import Session
from werkzeug.wrappers import Response as AnyResponse

from server.models import StaffAccount
from server.models.staff import SET_UP
from server.staff.account.authenticator_apps import NotOffered, add_authenticator_app, address_for_app, offered_secret
from server.staff.account.client import know_device
from server.staff.account.entering import BUSY, home, party
from server.staff.account.passkeys import add_passkey, creation_options
from server.staff.account.passwords import Busy
from server.staff.account.present_password import present_password_problem
from server.staff.account.recovery_codes import (
    confirm_recovery_codes,
    make_recovery_codes,
    recovery_codes_left,
    recovery_codes_unconfirmed,
)
from server.staff.account.second_factors import (
    LONGEST_NAME,
    OnlyOne,
    factors_of,
    remove_factor,
    rename_factor,
)
from server.staff.page import guard, words
from server.staff.page.database import reading, writing
from server.staff.page.request_context import request_context, signed_in
from server.staff.page.sessions import find_session, locked_session, revoke_all, revoke_session, start_session
from server.trust.audit import audit
from server.trust.tries import password_subject, second_step_subject
from server.words.phrase import phrase

NOT_MADE = phrase(
    "The passkey was not made: what the browser sent does not fit what was asked. Nothing is changed; try it once more."
)
WRONG_CODE = phrase(
    "This is not the code that the app shows now. Look at the clock of the phone, and type the next code."
)
TOO_LATE = phrase(
    "No app is being added here, or it was begun more than ten minutes ago. Nothing is changed; begin once more."
)
LAST_ONE = phrase("This is your only second factor. Add another first; then this one can go.")
PASSKEY_NAME, APP_NAME = phrase("Passkey"), phrase("Authenticator app")


def page() -> Response:
    return _page("")


def _page(problem: str, status: int = 200) -> Response:
    """One problem at a time, above the forms."""
    _only_live()
    with reading() as session:
        factors, left = factors_of(session, signed_in().id), recovery_codes_left(session, signed_in().id)
        unconfirmed = recovery_codes_unconfirmed(session, signed_in().id)
    setting_up = signed_in().stage == SET_UP
    shown = render_template(
        "staff/account/second_factor.html",
        problem=problem,
        factors=factors,
        codes_left=left,
        codes_unconfirmed=unconfirmed,
        setting_up=setting_up,
    )
    return make_response(shown, status)


def _only_live() -> None:
    if request_context().demo:
        abort(404)


def _not_confirmed() -> Response | None:
    """The page with what is wrong, unless this is the owner: right after the password, or with it once more."""
    _only_live()
    if signed_in().stage == SET_UP:
        return None
    try:
        problem = present_password_problem(request.form.get("present_password", ""))
    except Busy:
        return _page(words.say(BUSY), 503)
    return _page(problem, 422) if problem else None


def _name(default: str) -> str:
    typed = "".join(each if each.isprintable() else " " for each in request.form.get("name", ""))
    return " ".join(typed.split())[:LONGEST_NAME].strip() or default


def new_passkey() -> Response | str:
    """Asks the browser for a passkey; the answer comes to `passkey_made`."""
    refused = _not_confirmed()
    if refused is not None:
        return refused
    with writing() as session:
        options = creation_options(session, signed_in(), party(), now=request_context().real_now)
    return render_template("staff/account/new_passkey.html", options=options, name=_name(words.say(PASSKEY_NAME)))


def passkey_made() -> Response | AnyResponse:
    _only_live()
    name, answer = _name(words.say(PASSKEY_NAME)), request.form.get("credential", "")
    with writing() as session:
        made = add_passkey(session, signed_in(), party(), answer, name=name, now=request_context().real_now)
        codes, secret = _added(session, "passkey", made.id) if made else ([], "")
    return _after_adding(codes, secret) if made else _page(words.say(NOT_MADE), 422)


def new_app() -> Response:
    """Shows the QR code for an authenticator app; the code that it then shows comes to `app_confirmed`."""
    refused = _not_confirmed()
    if refused is not None:
        return refused
    me, name = signed_in(), _name(words.say(APP_NAME))
    with writing() as session:
        secret = offered_secret(session, me, now=request_context().real_now)
    address = address_for_app(secret, email=me.email, clinic_name=request_context().clinic_name)
    picture = Markup(qr_code(address, error="m", micro=False).svg_inline(scale=4, border=2, omitsize=True))
    groups = " ".join(secret[start : start + 4] for start in range(0, len(secret), 4))
    return make_response(
        render_template("staff/account/new_app.html", address=address, qr=picture, secret=groups, name=name)
    )


def app_confirmed() -> Response | AnyResponse:
    """After a wrong code it is asked for again, without the key: that is shown only to who gave the password just now."""
    _only_live()
    name, code = _name(words.say(APP_NAME)), request.form.get("code", "")
    try:
        with writing() as session:
            made = add_authenticator_app(session, signed_in(), code, name=name, now=request_context().real_now)
            codes, secret = _added(session, "app", made.id) if made else ([], "")
    except NotOffered:
        return _page(words.say(TOO_LATE), 422)
    if made:
        return _after_adding(codes, secret)
    again = render_template("staff/account/new_app.html", name=name, problem=words.say(WRONG_CODE))
    return make_response(again, 422)


def _added(session: Session, kind: str, factor_id: int) -> tuple[list[str], str]:
    """New recovery codes where there are none, and a session that is good for everything after a set-up, under a new cookie."""
    me, here = signed_in(), request_context()
    audit(session, "second-factor:added", f"account {me.id}", now=here.now, by_id=me.id, kind=kind, number=factor_id)
    codes = [] if recovery_codes_left(session, me.id) else make_recovery_codes(session, me.id, now=here.real_now)
    if me.stage != SET_UP:
        return codes, ""
    revoke_session(session, me.session_id, now=here.real_now)
    return codes, start_session(session, session.get_one(StaffAccount, me.id), now=here.real_now)


def _after_adding(codes: list[str], secret: str) -> Response | AnyResponse:
    if secret:
        with reading() as session:
            g.signed_in = find_session(session, secret, now=request_context().real_now)
    response = (
        _codes_page(codes) if codes else make_response(redirect(url_for("staff.second_factor", done="factor-added")))
    )
    if secret:
        guard.set_cookie(response, guard.SESSION, secret)
        know_device(response, password_subject(signed_in().email), second_step_subject(signed_in().id))
    return response


def _codes_page(codes: list[str]) -> Response:
    return make_response(render_template("staff/account/recovery_codes.html", codes=codes))


def codes_arrived() -> AnyResponse:
    """Until this comes, each sign-in leads to the page that offers new ones."""
    _only_live()
    me, here = signed_in(), request_context()
    with writing() as session:
        confirm_recovery_codes(session, me.id, now=here.real_now)
        audit(session, "second-factor:codes-arrived", f"account {me.id}", now=here.now, by_id=me.id)
    return redirect(home())


def new_codes() -> Response:
    refused = _not_confirmed()
    if refused is not None:
        return refused
    me, here = signed_in(), request_context()
    with writing() as session:
        locked_session(session, me)
        codes = make_recovery_codes(session, me.id, now=here.real_now)
        audit(session, "second-factor:codes-made", f"account {me.id}", now=here.now, by_id=me.id)
    return _codes_page(codes)


def remove(kind: str, factor_id: int) -> Response | AnyResponse:
    """Other sessions end: the removed device may be in other hands."""
    refused = _not_confirmed()
    if refused is not None:
        return refused
    me, here = signed_in(), request_context()
    try:
        with writing() as session:
            if not remove_factor(session, me.id, kind, factor_id, now=here.now):
                abort(404)
            locked_session(session, me)
            revoke_all(session, me.id, now=here.real_now, keep=me.session_id)
    except OnlyOne:
        return _page(words.say(LAST_ONE), 422)
    return redirect(url_for("staff.second_factor", done="factor-removed"))


def rename(kind: str, factor_id: int) -> AnyResponse:
    _only_live()
    name = _name("")
    if not name:
        abort(400)
    with writing() as session:
        if not rename_factor(session, signed_in().id, kind, factor_id, name, now=request_context().now):
            abort(404)
    return redirect(url_for("staff.second_factor", done="factor-renamed"))
