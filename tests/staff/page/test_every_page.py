"""What holds for every staff page: headers, one heading, labels, nothing inline, escaped names."""

import re
from collections.abc import Iterator

import pytest
from werkzeug.test import TestResponse

from server.staff.page.headers import HEADERS
from tests.staff.html_page import read_page
from tests.staff.staff_case import StaffCase
from tests.staff.visited import Visited, fill_clinic

# What a page says does not depend on the database; the forms, the list and signing in are tested on both.
pytestmark = pytest.mark.parametrize("database_url", ["sqlite"], indirect=True, scope="module")


HOSTILE = '<script>alert("x")</script>'
INLINE = re.compile(r"<[^>]+\s(style|on[a-z]+)\s*=|<script(?![^>]*\ssrc=)|<style|javascript:", re.IGNORECASE)


def every_page(staff: StaffCase, clinic: Visited) -> Iterator[tuple[str, TestResponse]]:
    for role, paths in clinic.pages.items():
        client = staff.browser() if role == "nobody" else staff.sign_in(role).client
        for path in paths:
            yield f"{role} {path}", client.get(path)


def test_headers_markup_and_labels(staff: StaffCase) -> None:
    pages = list(every_page(staff, fill_clinic(staff)))
    assert len(pages) > 15
    for where, answer in pages:
        assert {name: answer.headers[name] for name in HEADERS} == HEADERS, where
        assert answer.headers["Cache-Control"] == "no-store", where
        page = read_page(answer.text)
        assert len(page.all("h1")) == 1, where
        assert page.all("html", lang="en"), where
        assert page.all("title")[0].text.endswith(" · Yearmark"), where
        assert page.unlabelled() == [], where
        assert not INLINE.search(answer.text), f"{where}: {INLINE.search(answer.text)}"
        ids = [element.attributes["id"] for element in page.elements if element.attributes.get("id")]
        assert len(ids) == len(set(ids)), where


def test_names_and_notes_are_shown_and_never_run(staff: StaffCase) -> None:
    clinic = fill_clinic(staff, first_name=HOSTILE, last_name="Arden'\"&")
    nurse = staff.sign_in("nurse")
    note = {"channel": "telephone", "result": "other", "note": HOSTILE}
    nurse.post(f"/patients/{clinic.patient_id}/attempts", note)
    for where, answer in every_page(staff, clinic):
        assert HOSTILE not in answer.text, where
    page = nurse.get(f"/patients/{clinic.patient_id}").text
    assert page.count("&lt;script&gt;alert(") >= 2
    searched = nurse.get("/patients", query_string={"q": HOSTILE + "zz"}).text
    assert HOSTILE not in searched and "&lt;script&gt;" in searched


def test_a_word_in_the_address_becomes_no_text_on_the_page(staff: StaffCase) -> None:
    nurse = staff.sign_in("nurse")
    assert "The contact attempt is written down." in nurse.get("/today?done=attempt").text
    assert "bargain" not in nurse.get("/today?done=bargain").text


def test_every_form_carries_the_secret(staff: StaffCase) -> None:
    pages = list(every_page(staff, fill_clinic(staff)))
    posts = {where: len(re.findall(r'<form[^>]*method="post"', answer.text)) for where, answer in pages}
    assert sum(posts.values()) > len(pages)
    assert posts == {where: answer.text.count('name="form_secret"') for where, answer in pages}


def test_styles_may_be_kept_and_are_asked_for_by_their_content(staff: StaffCase) -> None:
    page = staff.browser().get("/sign-in").text
    paths = re.findall(r'(?:href|src)="(/look/[^"]+)"', page)
    assert len(paths) >= 2
    for path in paths:
        with staff.browser().get(path) as answer:
            assert answer.status_code == 200 and "?v=" in path
            assert answer.headers["Cache-Control"].endswith("immutable")


def test_errors_say_what_happened_what_is_safe_and_what_to_do(staff: StaffCase) -> None:
    nurse = staff.sign_in("nurse")
    for path, status in (("/patients/999", 404), ("/nothing", 404), ("/audit", 403), ("/held/999", 404)):
        answer = nurse.get(path)
        assert answer.status_code == status
        assert all(words in answer.text for words in ("What happened", "What is safe", "What to do")), path
    large = nurse.post("/patients/1/attempts", {"note": "x" * (9 * 1024 * 1024)})
    assert large.status_code == 413 and "too much at once" in large.text


def test_an_address_without_a_page_keeps_the_menu_for_whoever_is_signed_in(staff: StaffCase) -> None:
    page = staff.sign_in("surgeon").get("/nothing/here")
    links = [link.attributes["href"] for link in read_page(page.text).all("a")]
    assert page.status_code == 404 and {"/today", "/patients", "/files", "/account"} <= set(links)
    stranger = read_page(staff.browser().get("/nothing/here").text)
    assert "/today" not in [link.attributes["href"] for link in stranger.all("a")]


@pytest.mark.parametrize("number", [2**63, 10**40])
def test_a_number_that_no_row_can_have_is_not_found(staff: StaffCase, number: int) -> None:
    nurse = staff.sign_in("nurse")
    pages = [
        each.format(number)
        for each in ("/patients/{}", "/patients/{}/letter", "/held/{}", "/flags/{}", "/responses/{}")
    ]
    assert [path for path in pages if nurse.get(path).status_code != 404] == []
    forms = [
        each.format(number)
        for each in ("/patients/1/operations/{}", "/patients/{}/link", "/held/{}/again", "/flags/{}")
    ]
    typed = {"what": "done", "note": "x"}
    assert [path for path in forms if nurse.post(path, typed).status_code != 404] == []


def test_a_fault_of_the_server_shows_no_trace(staff: StaffCase) -> None:
    nurse = staff.sign_in("nurse")

    def broken() -> str:
        raise RuntimeError("the secret detail")

    staff.app.view_functions["staff.today"] = broken
    answer = nurse.get("/today")
    assert answer.status_code == 500 and "Something went wrong here" in answer.text
    assert "secret detail" not in answer.text and "Traceback" not in answer.text
