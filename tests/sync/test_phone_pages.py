"""The phone app as it is served: the clinic's numbers in the first page, its policy, its size on the wire, nothing made up."""

import base64
import gzip
import hashlib
import json
import re
from pathlib import Path

import pytest
from flask import Flask
from flask.testing import FlaskClient

from server.sync.pages import NOT_BUILT, PhoneApp, make_phone_pages
from tests.clinic_case import Case, make_case

PAGE = """<!doctype html><style>b{}</style><script type="application/json" id="clinic">__CLINIC_JSON__</script><script>go()</script>"""


@pytest.fixture
def client(tmp_path: Path) -> FlaskClient:
    case: Case = make_case(f"sqlite:///{tmp_path}/yearmark.sqlite3", tmp_path)
    folder = tmp_path / "built"
    folder.mkdir()
    (folder / "index.html").write_text(PAGE)
    (folder / "sw.js").write_text("const build = '__BUILD__'")
    (folder / "seal-1.js").write_text("seal()" * 500)
    (folder / "build.json").write_text('{"build": "b1", "files": []}')
    app = Flask("pages")
    app.register_blueprint(make_phone_pages(case.store, PhoneApp(folder)))
    return app.test_client()


def test_the_first_page_holds_the_clinics_numbers_and_a_policy_for_exactly_its_own_script(client: FlaskClient) -> None:
    answer = client.get("/p/")
    shown = re.search(r'id="clinic">(.*?)</script>', answer.text)
    assert shown is not None
    assert json.loads(shown[1])["emergency_number"] == "112"
    policy = answer.headers["Content-Security-Policy"]
    hashed = base64.b64encode(hashlib.sha256(b"go()").digest()).decode()
    assert f"script-src 'self' 'sha256-{hashed}';" in policy
    assert "unsafe" not in policy
    assert answer.headers["Referrer-Policy"] == "no-referrer"


def test_the_worker_changes_with_the_build_and_with_the_numbers(client: FlaskClient) -> None:
    assert re.fullmatch(r"const build = 'b1-[0-9a-f]{8}'", client.get("/p/sw.js").text)


def test_pages_and_scripts_travel_compressed_to_who_takes_it_and_plain_to_who_does_not(client: FlaskClient) -> None:
    packed = client.get("/p/seal-1.js", headers={"Accept-Encoding": "gzip"})
    plain = client.get("/p/seal-1.js", headers={"Accept-Encoding": "identity"})
    assert packed.headers["Content-Encoding"] == "gzip"
    assert "Content-Encoding" not in plain.headers
    assert gzip.decompress(packed.data) == plain.data
    assert "Accept-Encoding" in plain.headers["Vary"]


@pytest.mark.parametrize("path", ["/p/nothing.js", "/p/../app.py", "/p/index.html", "/p/seal-1.js/x"])
def test_what_is_not_there_is_a_404_and_never_the_first_page(client: FlaskClient, path: str) -> None:
    assert client.get(path).status_code == 404


def test_an_app_that_was_not_built_says_what_to_do(tmp_path: Path) -> None:
    case = make_case(f"sqlite:///{tmp_path}/yearmark.sqlite3", tmp_path)
    app = Flask("pages")
    app.register_blueprint(make_phone_pages(case.store, PhoneApp(tmp_path / "empty")))
    answer = app.test_client().get("/p/")
    assert (answer.status_code, answer.text) == (503, NOT_BUILT)


def test_who_has_the_page_as_it_is_gets_no_second_copy(client: FlaskClient) -> None:
    first = client.get("/p/", headers={"Accept-Encoding": "gzip"})
    again = client.get("/p/", headers={"Accept-Encoding": "gzip", "If-None-Match": first.headers["ETag"]})
    assert (again.status_code, again.data) == (304, b"")
    assert again.headers["Content-Security-Policy"] == first.headers["Content-Security-Policy"]
    plain = client.get("/p/", headers={"Accept-Encoding": "identity", "If-None-Match": first.headers["ETag"]})
    assert plain.status_code == 200
