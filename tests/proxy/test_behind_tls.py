"""Behind a web server with TLS: cookies, headers and the origin of a form are those of https, and who asks is told by it alone."""

import re
from dataclasses import dataclass
from http.client import HTTPMessage
from pathlib import Path
from urllib.parse import urlencode

import pytest
from flask import Flask, request
from werkzeug.test import Client

from server.cli.serving import http_server, listen
from tests.journeys.site import PASSWORD, free_port
from tests.proxy.conftest import BEFORE
from tests.proxy.nginx import Proxy

SECRET = re.compile(r'name="form_secret" value="([^"]+)"')


@dataclass
class Answer:
    status: int
    headers: HTTPMessage
    text: str

    @property
    def cookies(self) -> list[str]:
        return self.headers.get_all("Set-Cookie") or []


def ask(proxy: Proxy, path: str, form: dict[str, str] | None = None, **headers: str) -> Answer:
    """GET, or POST of a form."""
    connection = proxy.connect()
    if form is None:
        connection.request("GET", path, headers=headers)
    else:
        headers["Content-Type"] = "application/x-www-form-urlencoded"
        connection.request("POST", path, body=urlencode(form), headers=headers)
    answer = connection.getresponse()
    text = answer.read().decode()
    connection.close()
    return Answer(answer.status, answer.headers, text)


def sign_in(proxy: Proxy, origin: str) -> Answer:
    """As a browser that says where a form comes from by Origin alone."""
    page = ask(proxy, "/sign-in")
    cookie = "; ".join(each.split(";")[0] for each in page.cookies)
    form = {"email": "nurse@clinic.example", "password": PASSWORD, "form_secret": SECRET.findall(page.text)[0]}
    return ask(proxy, "/sign-in", form, Cookie=cookie, Origin=origin)


def test_the_staff_cookie_is_secure_and_bound_to_the_host(proxy: Proxy) -> None:
    answer = sign_in(proxy, f"https://{proxy.host}")
    assert answer.status == 302
    (cookie,) = [each for each in answer.cookies if "yearmark-staff=" in each]
    assert cookie.startswith("__Host-yearmark-staff=")
    assert "Secure" in cookie and "Path=/" in cookie and "Domain" not in cookie


@pytest.mark.parametrize("origin", ["http://localhost:PORT", "https://localhost", "https://evil.example"])
def test_a_form_of_another_origin_is_refused(proxy: Proxy, origin: str) -> None:
    assert sign_in(proxy, origin.replace("PORT", str(proxy.port))).status == 403


@pytest.mark.parametrize("path", ["/sign-in", "/p/", "/p/sw.js", "/nowhere", "/api/openapi.json"])
def test_every_page_says_that_browsers_stay_on_https_and_get_no_camera(proxy: Proxy, path: str) -> None:
    headers = ask(proxy, path).headers
    assert headers["Strict-Transport-Security"] == "max-age=31536000"
    assert "camera=()" in headers["Permissions-Policy"] and "geolocation=()" in headers["Permissions-Policy"]


def test_the_web_server_says_who_asks_whatever_the_client_claims(front: str, tmp_path: Path) -> None:
    with listen("127.0.0.1", 0) as behind:
        behind.listen()
        with BEFORE[front](behind.getsockname()[1], tmp_path, free_port()) as proxy:
            connection = proxy.connect("127.0.0.5")
            connection.request("GET", "/today", headers={"X-Forwarded-For": "198.51.100.7"})
            passed_on, _from = behind.accept()
            with passed_on:
                asked = passed_on.recv(10_000).decode()
            connection.close()
    assert re.findall(r"X-Forwarded-For: (.*)\r", asked) == ["127.0.0.5"]


@pytest.mark.parametrize(
    ("came_from", "told", "seen"),
    [
        ("127.0.0.1", "198.51.100.7, 203.0.113.9", "203.0.113.9"),
        ("127.0.0.1", "2001:db8::7", "2001:db8::7"),
        ("192.0.2.1", "203.0.113.9", "192.0.2.1"),
        ("::1", "203.0.113.9", "::1"),
    ],
)
def test_only_the_web_server_is_believed_about_who_asks(came_from: str, told: str, seen: str) -> None:
    app = Flask("who", static_folder=None)
    app.add_url_rule("/", view_func=lambda: str(request.remote_addr))
    with listen("127.0.0.1", 0) as listener:
        server = http_server(app, listener, proxy="127.0.0.1")
        said = Client(server.application).get(
            "/", headers={"X-Forwarded-For": told}, environ_base={"REMOTE_ADDR": came_from}
        )
        server.close()
    assert said.text == seen
