"""Who may see a page, and whether a form was really sent from one of ours.

A POST passes three checks: where the browser says it comes from, the cookie's SameSite=Strict, and a secret in the form.
A form whose page had grown old (signed out meanwhile, signed in again) is not thrown away: it is shown again to be sent again.
"""

import hmac
import secrets
from collections.abc import Callable
from datetime import timedelta
from functools import wraps
from typing import Any

from flask import Response, abort, g, make_response, redirect, render_template, request, url_for
from werkzeug.datastructures import MultiDict

from server.models.staff import IN, SECOND_STEP, SET_UP
from server.staff.page import words
from server.staff.page.database import reading, writing
from server.staff.page.request_context import (
    read_request_context,
    runtime,
    signed_in,
    signed_in_or_none,
    words_for,
)
from server.staff.page.sessions import SEEN_EVERY, SessionEnded, SignedIn, find_session, mark_seen

SECRET_FIELD = "form_secret"
KEPT = "keep:"
KEPT_PATH = "keep_path"
SECRETS = frozenset({"code", "recovery_code", "credential", "invitation"})
GOES_ON = {SECOND_STEP: "staff.second_step", SET_UP: "staff.second_factor", IN: "staff.account"}
SAFE_METHODS = frozenset({"GET", "HEAD", "OPTIONS"})
View = Callable[..., Any]


def cookie_name(word: str) -> str:
    """`__Host-` binds a cookie to this host and https; a browser refuses it over plain http, as on a demo's 127.0.0.1."""
    return f"__Host-{word}" if request.is_secure else word


def set_cookie(response: Response, word: str, value: str, *, kept_for: timedelta | None = None) -> None:
    """Until the browser is closed, unless `kept_for` says longer."""
    response.set_cookie(
        cookie_name(word),
        value,
        max_age=kept_for,
        httponly=True,
        secure=request.is_secure,
        samesite="Strict",
        path="/",
    )


def drop_cookie(response: Response, word: str) -> None:
    response.delete_cookie(cookie_name(word), httponly=True, secure=request.is_secure, samesite="Strict", path="/")


SESSION = "yearmark-staff"
BEFORE_SIGN_IN = "yearmark-form"


def read_session() -> None:
    """Before every staff page: reads the clinic and the session, and writes when it was last seen."""
    machine = runtime()
    now = machine.real_clock()
    cookie = request.cookies.get(cookie_name(SESSION), "")
    with reading() as session:
        g.request_context = read_request_context(session, now)
        found = find_session(session, cookie, now=now) if cookie else None
    g.signed_in = found
    g.words = words_for(found, g.request_context)
    if found is not None and now - found.seen_at >= SEEN_EVERY:
        with writing() as session:
            mark_seen(session, found, now=now)


def same_origin() -> bool:
    """Whether the browser says that our own page sent this. With no-referrer a form's Origin is "null" by the Fetch standard, so
    Sec-Fetch-Site decides where there is one; a client that sends neither is no browser and cannot be tricked into anything."""
    site = request.headers.get("Sec-Fetch-Site")
    if site is not None:
        return site == "same-origin"
    origin = request.headers.get("Origin")
    return origin in (None, "null", request.host_url.rstrip("/"))


def secret_is_right(expected: str) -> bool:
    given = request.form.get(SECRET_FIELD, "")
    return bool(expected) and hmac.compare_digest(given.encode("utf-8"), expected.encode("utf-8"))


def allowed(*roles: str, stages: tuple[str, ...] = (IN,)) -> Callable[[View], View]:
    """The one way to a page: only these roles, signed in as far as the page needs, and a POST only from our own form.

    No roles: nobody.
    """

    def behind(view: View) -> View:
        @wraps(view)
        def guarded(**values: Any) -> Any:
            if request.method not in SAFE_METHODS and not same_origin():
                abort(403, "forged")
            found = signed_in_or_none()
            if found is None or (found.stage not in stages and request.method not in SAFE_METHODS):
                return _ask_to_sign_in()
            if found.stage not in stages:
                return redirect(url_for(GOES_ON[found.stage]))
            if found.role not in roles:
                abort(403)
            if request.method not in SAFE_METHODS and not secret_is_right(found.form_secret):
                if _holds_secret():
                    return redirect(url_for("staff.account", done="too-old"))
                return send_again(found, request.path, list(request.form.items(multi=True)))
            try:
                return view(**values)
            except SessionEnded:
                return _ended_meanwhile()

        return guarded

    return behind


def _ended_meanwhile() -> Response:
    g.signed_in = None
    problem = words.gettext(
        "Your session was ended at this moment, from elsewhere. Nothing is changed; please sign in again."
    )
    return sign_in_page(problem=problem, status=401)


def open_to_all(view: View) -> View:
    """Signing in: no account yet, but a form's origin and secret are checked all the same."""

    @wraps(view)
    def guarded(**values: Any) -> Any:
        if request.method not in SAFE_METHODS:
            if not same_origin():
                abort(403, "forged")
            if not secret_is_right(request.cookies.get(cookie_name(BEFORE_SIGN_IN), "")):
                if request.endpoint == "staff.choose_password":
                    return redirect(url_for("staff.invitation", done="too-old"))
                return sign_in_page(
                    problem=words.gettext("The page was too old to be sent safely. Please enter both again."),
                    status=400,
                )
        return view(**values)

    return guarded


def _ask_to_sign_in() -> Any:
    if request.method in SAFE_METHODS:
        wanted = request.full_path.rstrip("?")
        return redirect(url_for("staff.sign_in", next=None if wanted in ("/", "/today") else wanted))
    if _holds_secret():
        return sign_in_page(
            keep=MultiDict(kept_fields()), keep_path=own_path(request.form.get(KEPT_PATH, "")), status=401
        )
    typed = [(name, value) for name, value in request.form.items(multi=True) if name != SECRET_FIELD]
    return sign_in_page(keep=MultiDict(typed), keep_path=request.path, status=401)


def _holds_secret() -> bool:
    """A password or code is never written into a page, not even to be sent again."""
    return any(name.endswith("password") or name in SECRETS for name in request.form)


def sign_in_page(
    *,
    problem: str = "",
    email: str = "",
    keep: MultiDict[str, str] | None = None,
    keep_path: str = "",
    status: int = 200,
) -> Response:
    """`keep`: what was being typed when the session ended; it travels along and is offered again after signing in."""
    secret = request.cookies.get(cookie_name(BEFORE_SIGN_IN)) or secrets.token_urlsafe(32)
    kept = list(keep.items(multi=True)) if keep else []
    page = render_template(
        "staff/account/sign_in.html",
        problem=problem,
        email=email,
        kept=kept,
        keep_path=keep_path,
        sign_in_secret=secret,
    )
    response = make_response(page, status)
    set_cookie(response, BEFORE_SIGN_IN, secret)
    return response


def send_again(found: SignedIn, path: str, fields: list[tuple[str, str]]) -> Response:
    """The same form once more, with the secret of the present session. Only our own pages lead here: the origin was checked."""
    g.signed_in = found
    shown = [(name, value) for name, value in fields if name != SECRET_FIELD]
    return make_response(render_template("staff/page/again.html", path=path, fields=shown), 409)


def kept_fields() -> list[tuple[str, str]]:
    return [(name[len(KEPT) :], value) for name, value in request.form.items(multi=True) if name.startswith(KEPT)]


def own_path(path: str) -> str:
    """A path on this server, or "" for anything that a browser could read as another place."""
    plain = path.isprintable() and path.startswith("/") and not path.startswith("//") and "\\" not in path
    return path if plain else ""


__all__ = ["allowed", "open_to_all", "read_session", "same_origin", "signed_in"]
