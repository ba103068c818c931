"""The application: the phone-facing part, the staff pages and, in a demo, the front door, on one runtime."""

from collections.abc import Callable

from flask import Flask, Response, request
from flask_smorest import Api
from werkzeug.middleware.proxy_fix import ProxyFix

from server.demo.door import make_front_door
from server.installation.runtime import Runtime
from server.models import Clinic
from server.queries.clock import the_clinic
from server.staff.blueprint import home, make_staff
from server.staff.page.headers import protect
from server.sync.api import make_sync
from server.sync.pages import make_phone_pages

LONGEST_POST = 8 * 1024 * 1024


def create_app(runtime: Runtime, stored: Callable[[], None] | None = None) -> Flask:
    """`stored` is called when envelopes were stored; without it they wait until someone takes them in."""
    app = Flask("server", static_folder=None)
    app.config.update(
        MAX_CONTENT_LENGTH=LONGEST_POST,
        API_TITLE="Yearmark, what a phone talks to",
        API_VERSION="1",
        OPENAPI_VERSION="3.1.0",
        OPENAPI_URL_PREFIX="/api",
        OPENAPI_JSON_PATH="openapi.json",
    )
    app.extensions["yearmark"] = runtime
    if _clinic(runtime).base_url.startswith("https:"):
        # Behind one web server that has the certificate: its word on scheme and address is believed, and nobody else's.
        app.wsgi_app = ProxyFix(app.wsgi_app, x_for=1, x_proto=1)  # type: ignore[method-assign]
    Api(app).register_blueprint(make_sync(runtime.store, runtime.now, stored))
    app.register_blueprint(make_phone_pages(runtime.store))
    app.register_blueprint(make_staff(runtime))
    if _clinic(runtime).mode == "demo":
        app.register_blueprint(make_front_door(runtime))
    else:
        app.add_url_rule("/", "home", home)
    app.after_request(_headers)
    return app


def _clinic(runtime: Runtime) -> Clinic:
    with runtime.store.reading() as session:
        return the_clinic(session)


def _headers(response: Response) -> Response:
    """The phone's pages carry a policy of their own."""
    if request.path.startswith("/p/"):
        return response
    return protect(response)
