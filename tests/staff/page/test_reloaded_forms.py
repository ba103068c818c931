"""Staff entry loses nothing: an address that only takes a form leads back to it, and no link takes a note along into nothing."""

import re

import pytest

from server.clinic.entries import ShoulderEntry
from server.staff.routes import ROUTES
from tests.staff.html_page import Page, read_page
from tests.staff.sent_form import send
from tests.staff.staff_case import Staff, StaffCase
from tests.staff.visited import Visited, fill_clinic

pytestmark = pytest.mark.parametrize("database_url", ["sqlite"], indirect=True, scope="module")

READ = {route.path for route in ROUTES if route.method == "GET"}
SENT_ONLY = [route for route in ROUTES if route.method == "POST" and route.path not in READ]
PLAIN_NAME = re.compile(r"[A-Za-z0-9_:-]+")


def filled(path: str, clinic: Visited, operation_id: int) -> str:
    for name, value in (
        ("patient_id", clinic.patient_id),
        ("operation_id", operation_id),
        ("flag_id", clinic.flag_id),
        ("response_id", clinic.response_id),
        ("row_id", 1),
        ("line_id", 1),
        ("envelope_id", clinic.envelope_id),
        ("account_id", 1),
        ("decision_id", 1),
        ("timepoint_id", 1),
        ("factor_id", 1),
        ("consent_id", 1),
        ("number_id", 1),
        ("attempt_id", 1),
        ("message_id", 1),
        ("merge_id", 1),
        ("lock_id", 1),
        ("series_id", 1),
        ("session_id", 1),
        ("restoration_id", 1),
        ("holiday_id", 1),
    ):
        path = path.replace(f"<int:{name}>", str(value))
    return path.replace("<kind>", "app").replace("<end>", "died")


def test_loading_the_address_of_a_form_again_shows_the_page_that_holds_it(staff: StaffCase) -> None:
    clinic = fill_clinic(staff)
    planned = ShoulderEntry(side="left", surgery_planned_on=staff.case.today)
    other = staff.case.enrol(planned, first_name="Bela")
    paths = {filled(route.path, clinic, 1): route for route in SENT_ONLY}
    reached = {path: staff.sign_in((route.roles or ("nurse",))[0]).get(path) for path, route in paths.items()}
    assert len(reached) > 15
    assert {path: answer.status_code for path, answer in reached.items() if answer.status_code != 302} == {}
    nurse = staff.sign_in("nurse")
    landed = {
        path: nurse.get(reached[path].location) for path in paths if path.startswith(("/patients", "/held", "/flags"))
    }
    assert len(landed) > 7
    assert {path: page.status_code for path, page in landed.items() if page.status_code != 200} == {}
    page = nurse.get(f"/patients/{other}").text
    for word in ("attempts", "contact", "birth-date", "link"):
        where = nurse.get(f"/patients/{other}/{word}").location
        assert where == f"/patients/{other}#form-{word}" and f'<details id="form-{word}"' in page


def test_a_page_for_another_role_still_asks_or_refuses(staff: StaffCase) -> None:
    assert staff.browser().get("/patients/1/attempts", follow_redirects=True).request.path == "/sign-in"
    refused = staff.sign_in("data_manager").get("/patients/1/attempts", follow_redirects=True)
    assert refused.status_code == 403


def test_every_input_of_every_page_has_a_plain_name(staff: StaffCase) -> None:
    clinic = fill_clinic(staff)
    staff.case.enrol(ShoulderEntry(side="left", surgery_planned_on=staff.case.today), first_name="Bela")
    named = []
    for role in ("nurse", "data_manager"):
        for path in [*clinic.pages[role], "/patients/2"]:
            named += [each.attributes.get("name", "") for each in read_page(staff.sign_in(role).get(path).text).inputs]
    assert len(named) > 100
    assert [name for name in named if not PLAIN_NAME.fullmatch(name)] == []


def surgery_form(page: Page) -> str:
    [form] = [each for each in page.all("form") if "/operations/" in each.attributes.get("action", "")]
    return form.attributes["action"]


def test_the_reason_of_a_cancelled_surgery_is_kept_as_the_page_sends_it(staff: StaffCase, nurse: Staff) -> None:
    patient_id = staff.case.enrol(ShoulderEntry(side="left", surgery_planned_on=staff.case.today))
    page = read_page(nurse.get(f"/patients/{patient_id}").text)
    [why] = [each.attributes["name"] for each in page.inputs if re.fullmatch("surgery-.*-why", each.attributes["name"])]
    form = surgery_form(page)
    fields = {why.replace("-why", "-on"): staff.case.today.isoformat(), why: "chose “otherwise”"}
    assert send(nurse, f"/patients/{patient_id}", form, fields).status_code == 302
    assert "chose “otherwise”" in nurse.get(f"/patients/{patient_id}").text


def test_an_operation_is_changed_on_its_own_patients_page_only(staff: StaffCase, nurse: Staff) -> None:
    planned = ShoulderEntry(side="left", surgery_planned_on=staff.case.today)
    first, second = (staff.case.enrol(planned, first_name=name) for name in ("Ada", "Bela"))
    page = read_page(nurse.get(f"/patients/{second}").text)
    form = surgery_form(page)
    assert nurse.post(form.replace(f"/patients/{second}/", f"/patients/{first}/")).status_code == 404


def test_a_note_is_still_there_after_the_way_to_another_form(staff: StaffCase, nurse: Staff) -> None:
    clinic = fill_clinic(staff)
    path = f"/flags/{clinic.flag_id}"
    page = nurse.get(path).text
    assert re.search(rf'<button[^>]*formaction="{path}/note"[^>]*value="contact"', page)
    away = nurse.post(f"{path}/note", {"note": "new number is 555 0199", "then": "contact"})
    assert away.location == f"/patients/{clinic.patient_id}?done=note-kept#form-contact"
    back = nurse.get(path).text
    assert "new number is 555 0199</textarea>" in back and "Settle it" in back
    assert nurse.post(f"{path}/note", {"note": "x", "then": "elsewhere"}).status_code == 400
    assert nurse.post(f"{path}/note", {"note": "x" * 1001, "then": "contact"}).status_code == 422
    nurse.post(path, {"note": "entered"})
    assert nurse.post(f"{path}/note", {"note": "later", "then": "contact"}).status_code == 409
