"""Puts the staff pages together: routes from one table, templates and words, one preparation before each request."""

import hashlib
from functools import cache
from pathlib import Path
from typing import Any, cast

from flask import Blueprint, Flask, Response, abort, g, redirect, request, url_for
from jinja2 import Environment
from werkzeug.wrappers import Response as AnyResponse

from server.clinic.left_open import records_closed_since
from server.installation.runtime import Runtime
from server.models.staff import IN
from server.staff.account.passwords import nobodys_hash
from server.staff.page import words
from server.staff.page.database import connect_database
from server.staff.page.error_pages import add_error_pages
from server.staff.page.guard import SECRET_FIELD, allowed, open_to_all, read_session
from server.staff.page.notices import notice
from server.staff.page.patient_seen import note_who_saw
from server.staff.page.request_context import asked_language, request_context, signed_in_or_none
from server.staff.page.whole_form import WholeForm
from server.staff.routes import ROUTES
from server.words import labels
from server.words.catalogue import languages
from server.words.phrase import phrase
from server.words.templates import add_translation

FOLDER = Path(__file__).parent
LARGEST_ID = 2**31 - 1  # what the narrowest id of a table holds in PostgreSQL
NUL = "\0"  # no keyboard makes it and PostgreSQL takes none; every other sign is judged by the field that it stands in
A_YEAR = 31_536_000
NAVIGATION = (
    (phrase("Today"), "staff.today", ("nurse", "surgeon")),
    (phrase("Patients"), "staff.patients", ("nurse", "surgeon")),
    (phrase("Held"), "staff.held", ("data_manager",)),
    (phrase("Series"), "staff.series", ("nurse", "surgeon", "data_manager")),
    (phrase("Files"), "staff.files", ("surgeon", "data_manager")),
    (phrase("Instruments"), "staff.instruments", ("nurse", "surgeon", "data_manager")),
    (phrase("Texts"), "staff.texts", ("nurse", "surgeon", "data_manager")),
    (phrase("Accounts"), "staff.accounts", ("data_manager",)),
    (phrase("Backups"), "staff.backups", ("data_manager",)),
    (phrase("Settings"), "staff.settings", ("data_manager",)),
    (phrase("Readiness"), "staff.ready", ("data_manager",)),
    (phrase("Audit"), "staff.audit", ("data_manager",)),
)


def make_staff(runtime: Runtime) -> Blueprint:
    """The staff pages. The application's extensions hold the runtime under "yearmark"; it is put there if nobody did."""
    staff = Blueprint(
        "staff", __name__, template_folder="templates", static_folder="static/staff", static_url_path="/look"
    )
    staff.record_once(lambda state: state.app.extensions.setdefault("yearmark", runtime))
    staff.record_once(lambda state: _add_words(state.app.jinja_env))
    staff.record_once(lambda state: connect_database(cast(Flask, state.app), runtime))
    for route in ROUTES:
        behind = open_to_all if route.roles is None else allowed(*route.roles, stages=route.stages)
        staff.add_url_rule(route.path, route.name, behind(route.view), methods=[route.method])
    staff.before_request(_prepare)
    staff.after_request(_cache_look)
    staff.after_request(note_who_saw)
    staff.app_context_processor(_names)
    add_error_pages(staff)
    nobodys_hash()
    return staff


def _add_words(environment: Environment) -> None:
    """As globals, so that imported macros have them too. `words` speaks the language of the request."""
    add_translation(environment)
    environment.globals.update(words=words, labels=labels, records_closed_since=records_closed_since)


def home() -> AnyResponse:
    """For an application that has no front door of its own."""
    return redirect(url_for("staff.sign_in"))


def _prepare() -> None:
    request.form_data_parser_class = WholeForm
    if request.endpoint != "staff.static":
        read_session()
    in_path = (request.view_args or {}).values()
    if any(isinstance(value, int) and value > LARGEST_ID for value in in_path) or NUL in request.path:
        abort(404)
    typed = (*request.args.items(multi=True), *request.form.items(multi=True))
    if any(NUL in name or NUL in value for name, value in typed):
        abort(400, "unprintable")


def _cache_look(response: Response) -> Response:
    """Style and script are asked for by their content, so they may be kept."""
    if request.endpoint == "staff.static" and response.status_code == 200:
        response.headers["Cache-Control"] = f"public, max-age={A_YEAR}, immutable"
    return response


def _names() -> dict[str, Any]:
    """What every template may use."""
    if "request_context" not in g:
        return {}
    found = signed_in_or_none()
    inside = found if found is not None and found.stage == IN else None
    return {
        "request_context": request_context(),
        "asked_language": asked_language(),
        "other_languages": [code for code in languages("staff") if code != words.spoken().language],
        "signed_in": found,
        "navigation": [(word.text, name) for word, name, roles in NAVIGATION if inside and inside.role in roles],
        "secret_field": SECRET_FIELD,
        "look": _look,
        "notice": notice(request.args.get("done", "")),
        "mine": lambda *roles: inside is not None and inside.role in roles,
    }


@cache
def _look(name: str) -> str:
    """The address of a style sheet or script, with a part that changes with its content."""
    digest = hashlib.sha256((FOLDER / "static/staff" / name).read_bytes()).hexdigest()
    return f"/look/{name}?v={digest[:12]}"
