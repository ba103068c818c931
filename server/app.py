"""The application: the phone-facing part, the staff pages and, in a demo, the front door, on one runtime."""

from collections.abc import Callable, Iterable
from typing import TYPE_CHECKING, Any
from urllib.parse import urlsplit

from flask import Flask, Response, request
from flask_smorest import Api

from server.demo.door import make_front_door
from server.installation.runtime import Runtime
from server.intake.payload import FormSchema, NoticeSchema
from server.models import Clinic
from server.queries.clock import the_clinic
from server.staff.blueprint import home, make_staff
from server.staff.page.headers import protect, protect_every_page
from server.sync.api import make_sync
from server.sync.pages import make_phone_pages
from server.sync.schemas import HttpError

if TYPE_CHECKING:
    from _typeshed.wsgi import StartResponse, WSGIApplication, WSGIEnvironment

LONGEST_POST = 8 * 1024 * 1024


def create_app(runtime: Runtime, stored: Callable[[], None] | None = None) -> Flask:
    """`stored` is called when envelopes were stored; without it they wait until someone takes them in."""
    app = _App("server", static_folder=None)
    app.config.update(
        MAX_CONTENT_LENGTH=LONGEST_POST,
        API_TITLE="Yearmark, what a phone talks to",
        API_VERSION="1",
        OPENAPI_VERSION="3.1.0",
        OPENAPI_URL_PREFIX="/api",
        OPENAPI_JSON_PATH="openapi.json",
    )
    app.extensions["yearmark"] = runtime
    base_url = _clinic(runtime).base_url
    if base_url.startswith("https:"):
        app.wsgi_app = _at(base_url, app.wsgi_app)  # type: ignore[method-assign, assignment]
    api = _PhoneApi(app)
    api.register_blueprint(make_sync(runtime.store, runtime.now, stored))
    # What is sealed inside an envelope: no route takes it, but who writes a client needs to know.
    api.spec.components.schema("FormPayload", schema=FormSchema)
    api.spec.components.schema("NoticePayload", schema=NoticeSchema)
    app.register_blueprint(make_phone_pages(runtime.store))
    app.register_blueprint(make_staff(runtime))
    if _clinic(runtime).mode == "demo":
        app.register_blueprint(make_front_door(runtime))
    else:
        app.add_url_rule("/", "home", home)
    app.after_request(_headers)
    return app


class _App(Flask):
    """Says of a page that failed which one it was by its route: an address that somebody opened may hold a secret or a search."""

    def log_exception(self, exc_info: Any) -> None:
        page = request.url_rule.rule if request.url_rule else "no page"
        self.logger.error("a page failed: %s %s", request.method, page, exc_info=exc_info)


class _PhoneApi(Api):  # type: ignore[misc]
    ERROR_SCHEMA = HttpError


def _clinic(runtime: Runtime) -> Clinic:
    with runtime.store.reading() as session:
        return the_clinic(session)


def _at(base_url: str, app: "WSGIApplication") -> "WSGIApplication":
    """Every request came to the clinic's own https address, since only the web server with its certificate passes requests on.

    So the address is taken from the clinic's setting and not from headers, which a web server may forget to send.
    """

    def served(environ: "WSGIEnvironment", start_response: "StartResponse") -> Iterable[bytes]:
        environ["wsgi.url_scheme"] = "https"
        environ["HTTP_HOST"] = urlsplit(base_url).netloc
        return app(environ, start_response)

    return served


def _headers(response: Response) -> Response:
    """The phone's pages carry a policy of their own."""
    if request.path.startswith("/p/"):
        return protect_every_page(response)
    return protect(response)
