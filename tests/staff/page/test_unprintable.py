"""Signs that no keyboard makes are refused by a page or beside the field, on both databases, and are never a fault of the server."""

import re
from collections.abc import Iterator

import pytest
from werkzeug.test import TestResponse

from server.staff.page.route import Route
from server.staff.routes import ROUTES
from tests.staff.sent_form import send
from tests.staff.staff_case import PASSWORD, Staff, StaffCase, send_sign_in
from tests.staff.visited import fill_clinic

NUL, BELL = "\0", "\a"


def client_for(staff: StaffCase, route: Route) -> Staff:
    return Staff(staff.browser()) if route.roles is None else staff.sign_in(route.roles[0])


def answers(staff: StaffCase) -> Iterator[tuple[str, int, TestResponse]]:
    """Each route with the sign in its form, in its query and in each text of its path; with the status that is right."""
    for route in ROUTES:
        who, path = client_for(staff, route), re.sub(r"<(int:)?\w+>", "1", route.path)
        name = f"{route.method} {route.path}"
        if route.method == "POST":
            yield f"{name} form", 400, who.post(path, {"a": f"b{NUL}c"})
            yield f"{name} name", 400, who.post(path, {f"a{NUL}": "b"})
        else:
            yield f"{name} query", 400, who.get(path, query_string={"q": f"b{NUL}c"})
        if re.search(r"<\w+>", route.path):
            yield f"{name} path", 404, who.get(re.sub(r"<\w+>", "b%00c", path if "<" in path else route.path))


def test_a_nul_anywhere_in_any_page_is_refused_by_a_page(staff: StaffCase) -> None:
    found = list(answers(staff))
    assert len(found) > len(ROUTES)
    assert [(where, answer.status_code) for where, right, answer in found if answer.status_code != right] == []
    assert all("Nothing was saved" in answer.text for _where, right, answer in found if right == 400)


def test_the_texts_and_the_words_of_an_instrument_are_asked_for_without_a_fault(staff: StaffCase, nurse: Staff) -> None:
    for path in ("/texts/sst@1/en/a%00b", "/texts/sst%00@1/en/a", "/instruments/sst@1%00", "/instruments/sst@1/e%00n"):
        assert nurse.get(path).status_code == 404, path
    assert nurse.get("/instruments/sst@1").status_code == 200


def test_whoever_is_signed_in_stays_so_on_the_page_that_refuses(nurse: Staff) -> None:
    refused = nurse.get("/patients", query_string={"q": NUL})
    assert "cannot be printed" in refused.text and "Nell Nurse" in refused.text
    assert ">Sign in<" not in refused.text


@pytest.mark.parametrize("field", ["email", "password"])
def test_signing_in_with_one_is_refused_and_no_fault(staff: StaffCase, field: str) -> None:
    typed = {"email": "nurse@clinic.example", "password": PASSWORD}
    typed[field] += NUL
    answer = send_sign_in(staff.browser(), **typed)
    assert answer.status_code == 400 and "cannot be printed" in answer.text


def test_other_signs_are_refused_beside_the_field_and_what_was_typed_stays(staff: StaffCase, nurse: Staff) -> None:
    clinic = fill_clinic(staff)
    patient = f"/patients/{clinic.patient_id}"
    attempt = nurse.post(f"{patient}/attempts", {"channel": "letter", "result": "other", "note": f"ring{BELL}ing"})
    contact = send(nurse, patient, f"{patient}/contact", {"email": "ada@patient.example", "address": f"A{BELL} street"})
    flag = nurse.post(f"/flags/{clinic.flag_id}", {"note": f"rang{BELL} her"})
    for answer in (attempt, contact, flag):
        assert answer.status_code == 422 and "This holds a sign that cannot be printed." in answer.text
    assert "ring" in attempt.text and "rang" in flag.text and "ada@patient.example" in contact.text


def test_a_line_end_that_a_word_processor_makes_is_a_line_end(staff: StaffCase, nurse: Staff) -> None:
    clinic = fill_clinic(staff)
    note = {"channel": "letter", "result": "other", "note": "first line\vsecond line"}
    assert nurse.post(f"/patients/{clinic.patient_id}/attempts", note).status_code == 302
    assert "second line" in nurse.get(f"/patients/{clinic.patient_id}").text
