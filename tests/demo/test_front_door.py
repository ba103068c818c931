"""The front door: who can come in, the phone's frame, the mailbox; and nothing of it for a live clinic."""

import re
from collections.abc import Iterator
from pathlib import Path

import pytest
from flask import Flask
from flask.testing import FlaskClient
from sqlalchemy import select

from server.app import create_app
from server.demo.door import make_front_door
from server.demo.mail import Piece, pieces_of
from server.demo.seed import demo_entry
from server.installation.runtime import Runtime
from server.installation.set_up import ClinicEntry, migrate, set_up_clinic
from server.models import AuditEntry, StaffSession
from tests.demo.play import OWN_PAGE, REAL_NOW, Demo, open_again

FINE, ELSEWHERE, REFUSED, MISSING = 200, 302, 403, 404
INLINE = re.compile(r"<script(?![^>]*\bsrc=)|<style|\sstyle=|\son[a-z]+=", re.IGNORECASE)
PATHS = ("/", "/demo/mailbox")


@pytest.fixture
def live(tmp_path: Path) -> Iterator[Runtime]:
    runtime = open_again(tmp_path / "live")
    migrate(runtime)
    entry = ClinicEntry("live", **demo_entry("https://clinic.example").settings)
    with runtime.store.writing() as session:
        set_up_clinic(session, entry, runtime.keys, now=REAL_NOW)
    yield runtime
    runtime.store.engine.dispose()


def test_the_door_says_the_day_and_that_all_is_invented(seeded: Demo) -> None:
    page = seeded.client.get("/").text
    assert "Wednesday, 17 June 2026" in page
    assert "Everything here is invented" in page and "Never enter anything about a real person" in page


@pytest.mark.parametrize("path", PATHS)
def test_no_page_holds_an_inline_style_or_script_and_each_has_the_strict_policy(seeded: Demo, path: str) -> None:
    response = seeded.client.get(path)
    assert response.status_code == FINE
    assert not INLINE.search(response.text)
    policy = response.headers["Content-Security-Policy"]
    assert "default-src 'none'" in policy and "frame-src 'self'" in policy and "unsafe" not in policy


def test_its_style_sheet_and_mark_are_served(seeded: Demo) -> None:
    page = seeded.client.get("/").text
    paths = re.findall(r'href="(/demo/look/[^"]+)"', page)
    assert len(paths) >= 2
    for path in paths:
        with seeded.client.get(path) as response:
            assert response.status_code == FINE


def test_the_phone_in_the_frame_is_that_of_whoever_was_chosen(seeded: Demo) -> None:
    link = seeded.links("due")[3]
    page = seeded.client.get(f"/?patient={link['study_number']}").text
    token = link["url"].partition("#")[2]
    assert f'<iframe src="/p/#{token}"' in page
    assert f"born {link['birth_date']}" in page


def test_everyone_of_the_file_can_be_chosen_and_no_token_stands_in_a_query(seeded: Demo) -> None:
    page = seeded.client.get("/").text
    links = seeded.content["patient_links"]
    assert links
    assert [link for link in links if f"patient={link['study_number']}" not in page] == []
    assert [link for link in links if re.search(rf"[?&=/]{link['url'].partition('#')[2]}", page)] == []


def test_an_unknown_choice_shows_someone_all_the_same(seeded: Demo) -> None:
    response = seeded.client.get("/?patient=Y-9999%22%3E%3Cscript%3E")
    assert response.status_code == FINE and "<iframe" in response.text and "<script>" not in response.text


@pytest.mark.parametrize(("role", "home"), [("nurse", "/today"), ("surgeon", "/today"), ("data_manager", "/held")])
def test_one_click_signs_a_role_in_and_is_written_in_the_audit_trail(demo: Demo, role: str, home: str) -> None:
    response = demo.client.post(f"/demo/as/{role}", headers=OWN_PAGE)
    assert (response.status_code, response.headers["Location"]) == (ELSEWHERE, home)
    cookie = response.headers["Set-Cookie"]
    assert "HttpOnly" in cookie and "SameSite=Strict" in cookie
    assert demo.client.get(home).status_code == FINE
    with demo.runtime.store.reading() as session:
        actions = list(session.scalars(select(AuditEntry.action)))
    assert actions.count("sign-in:by-the-front-door") == 1


def test_another_site_can_neither_sign_in_nor_move_the_clock(demo: Demo) -> None:
    for path in ("/demo/as/nurse", "/demo/week"):
        assert demo.client.post(path, headers={"Sec-Fetch-Site": "cross-site"}).status_code == REFUSED
    with demo.runtime.store.reading() as session:
        assert session.scalars(select(StaffSession)).all() == []


def test_a_role_that_does_not_exist_is_not_signed_in(demo: Demo) -> None:
    assert demo.client.post("/demo/as/director", headers=OWN_PAGE).status_code == MISSING


def test_someone_to_enrol_is_shown_with_all_that_is_to_be_typed(seeded: Demo) -> None:
    page = seeded.client.get("/").text
    texts = ("Someone to enrol", "Rosalind Wexcombe", "1961-04-17", "rosalind.wexcombe@patient.example")
    assert [text for text in texts if text not in page] == []


def test_the_mailbox_lists_letters_and_each_opens_with_a_link_to_the_phone(seeded: Demo) -> None:
    names = re.findall(r'href="/demo/mailbox/([^"]+)"', seeded.client.get("/demo/mailbox").text)
    assert names
    for name in names[:5]:
        page = seeded.client.get(f"/demo/mailbox/{name}").text
        assert re.search(r'<a href="/p/#[A-Z2-7]{28}"', page)
        assert re.search(r'href="/\?patient=Y-\d+"', page)


def test_a_letter_is_shown_as_text_whatever_is_in_it(demo: Demo) -> None:
    (demo.folder / "mailbox" / "bad.eml").write_text(
        "Message-ID: <bad@127.0.0.1>\nDate: Wed, 17 Jun 2026 06:00:00 +0000\nTo: a@patient.example\n"
        "Subject: <script>alert(1)</script>\nContent-Type: text/plain; charset=utf-8\n\n"
        "<b onclick=alert(1)>text</b> http://evil.example/q http://127.0.0.1:1/p/#short\n"
    )
    for path in ("/demo/mailbox", "/demo/mailbox/bad", "/"):
        page = demo.client.get(path).text
        assert "&lt;script&gt;" in page and "<script>" not in page
    assert "&lt;b onclick" in page or "<b onclick" not in page
    assert 'href="http://evil.example' not in demo.client.get("/demo/mailbox/bad").text


def test_a_letter_that_is_not_there_is_not_found_and_no_file_outside_is_read(seeded: Demo) -> None:
    names = ("nothing", "..%2Fdemo", "..%2f..%2fetc%2fpasswd")
    assert [seeded.client.get(f"/demo/mailbox/{name}").status_code for name in names] == [MISSING] * 3


def test_a_link_in_a_letter_is_found_whatever_the_port_was() -> None:
    token = "A" * 28
    text = f"before http://127.0.0.1:9999/p/#{token} after"
    assert pieces_of(text) == [
        Piece("before "),
        Piece(f"http://127.0.0.1:9999/p/#{token}", token),
        Piece(" after"),
    ]


def asked(client: FlaskClient) -> list[int]:
    found = [client.get(path).status_code for path in ("/demo/mailbox", "/demo/week", "/demo/look/door.css")]
    return [*found, *(client.post(path, headers=OWN_PAGE).status_code for path in ("/demo/as/nurse", "/demo/week"))]


def test_a_live_clinic_s_application_has_no_front_door(live: Runtime) -> None:
    client = create_app(live).test_client()
    assert asked(client) == [MISSING] * 5
    assert client.get("/").status_code == ELSEWHERE
    with live.store.reading() as session:
        assert session.scalars(select(StaffSession)).all() == []


def test_even_a_front_door_put_into_a_live_application_stays_shut(live: Runtime) -> None:
    app = Flask("wrongly built")
    app.register_blueprint(make_front_door(live))
    client = app.test_client()
    assert [client.get("/").status_code, *asked(client)] == [MISSING] * 6
