"""The page of texts: what is asked in which words, a file checked and installed, descriptive texts decided on."""

import io
import json
import re
from html import unescape
from typing import Any

import pytest
from sqlalchemy import select
from werkzeug.test import TestResponse

from server.models import Response
from server.queries.clock import the_clinic
from server.staff.page.words import language
from tests.staff.html_page import read_page
from tests.staff.staff_case import Staff, StaffCase
from tests.stranger import best
from tests.texts.going_live import WHY, go_live
from tests.texts.making import LICENCE, text_document, text_file

# What a page says is the same on either database.
on_sqlite = pytest.mark.parametrize("database_url", ["sqlite"], indirect=True, scope="module")

CARRIED = re.compile(r'name="carried" value="([^"]+)"')
SHOWN = re.compile(r'name="shown" value="([^"]+)"')


def upload(manager: Staff, data: bytes, **fields: str) -> TestResponse:
    file = (io.BytesIO(data), "es.json")
    return manager.post("/texts/check", {"file": file, **fields}, content_type="multipart/form-data")


def install(manager: Staff, data: bytes, **fields: Any) -> TestResponse:
    carried = CARRIED.findall(upload(manager, data).text)[0]
    return manager.post("/texts/install", {**LICENCE, "carried": carried, **fields})


@on_sqlite
def test_a_demo_says_what_it_asks_in_and_that_nothing_need_be_decided(staff: StaffCase) -> None:
    page = staff.sign_in("nurse").get("/texts").text
    assert "descriptive texts are asked without a decision" in page
    assert "Needs its owner's permission" in page
    assert "was not read in a published source" in page
    assert 'type="file"' not in page, "a nurse installs nothing"


@on_sqlite
def test_a_file_is_checked_shown_beside_what_is_there_and_installed(staff: StaffCase) -> None:
    manager = staff.sign_in("data_manager")
    checked = upload(manager, text_file())
    page = read_page(checked.text)
    assert checked.status_code == 200 and page.all("h1")[0].text == "Simple Shoulder Test, Spanish"
    assert "Beside the descriptive text sst@1/es/descriptive-1" in checked.text
    assert page.all("span", lang="es", dir="ltr")[1].text == "invented title"
    assert page.unlabelled() == []
    done = install(manager, text_file())
    assert done.status_code == 302
    listed = manager.get(done.location).text
    assert "The text is installed." in listed and "Imagined Institute, IMG-2026-17" in listed
    assert "installed already" in upload(manager, text_file()).text
    assert "invented item 12" in staff.sign_in("surgeon").get("/texts/sst@1/es/licensed-1").text
    assert "invented item 12" in staff.sign_in("nurse").get("/instruments/sst@1").text
    assert "Text of an instrument installed" in manager.get("/audit").text


@on_sqlite
def test_a_language_from_right_to_left_is_marked_as_such(staff: StaffCase) -> None:
    manager = staff.sign_in("data_manager")
    checked = upload(manager, text_file("pain@1", "ar"))
    assert "read right to left" in checked.text and "not one of this clinic's languages" in checked.text
    assert read_page(checked.text).all("span", lang="ar", dir="rtl")
    install(manager, text_file("pain@1", "ar"))
    shown = read_page(manager.get("/texts/pain@1/ar/licensed-1").text)
    assert [table.attributes["dir"] for table in shown.all("table")] == ["rtl"]


@on_sqlite
def test_a_bad_file_is_refused_in_words_that_name_the_item(staff: StaffCase) -> None:
    manager = staff.sign_in("data_manager")
    document = text_document()
    del document["items"]["4"]
    refused = upload(manager, json.dumps(document).encode())
    assert refused.status_code == 422
    assert "item 4 is missing." in refused.text and "Nothing is changed" in refused.text
    assert "Choose the file first" in upload(manager, b"").text
    assert "it was changed on the way" in upload(manager, text_file(), sha256="0" * 64).text


@on_sqlite
def test_what_was_typed_and_the_file_stay_when_something_is_not_right(staff: StaffCase) -> None:
    manager = staff.sign_in("data_manager")
    again = install(manager, text_file(), dated_on="2126-01-31")
    page = read_page(again.text)
    values = {each.attributes.get("name"): each.attributes.get("value") for each in page.all("input")}
    assert again.status_code == 422 and "This must be a day" in again.text
    assert (values["owner"], values["dated_on"]) == ("Imagined Institute", "2126-01-31")
    assert manager.post("/texts/install", {**LICENCE, "carried": str(values["carried"])}).status_code == 302


@on_sqlite
def test_a_newer_translation_replaces_only_when_it_is_ticked(staff: StaffCase) -> None:
    manager = staff.sign_in("data_manager")
    install(manager, text_file())
    newer = text_file(name="2", words="newer")
    assert "Beside the installed text sst@1/es/licensed-1" in upload(manager, newer).text
    refused = install(manager, newer, translation_version="2.0")
    assert refused.status_code == 422 and "say that it replaces sst@1/es/licensed-1" in refused.text
    assert install(manager, newer, translation_version="2.0", replaces="sst@1/es/licensed-1").status_code == 302
    page = manager.get("/texts").text
    assert "No longer asked" in page and "/texts/sst@1/es/licensed-1" in page
    assert "a newer translation took its place" in manager.get("/texts/sst@1/es/licensed-1").text


@on_sqlite
def test_what_the_form_carries_is_checked_again(staff: StaffCase) -> None:
    manager = staff.sign_in("data_manager")
    assert manager.post("/texts/install", {**LICENCE, "carried": "no base64!"}).status_code == 400
    assert manager.post("/texts/install", {**LICENCE, "carried": "e30="}).status_code == 422


@on_sqlite
def test_a_live_clinic_says_why_nothing_goes_out_until_a_data_manager_decides(staff: StaffCase) -> None:
    go_live(staff.case)
    staff.case.enrol()
    nurse, manager = staff.sign_in("nurse"), staff.sign_in("data_manager")
    today = nurse.get("/today").text
    assert "One open form of one patient stays back" in today and "#decision" in today
    assert "Decide it, or install licensed texts" in manager.get("/held").text
    assert "A data manager decides this" in nurse.get("/texts").text
    page = manager.get("/texts").text
    fields = {"shown": SHOWN.findall(page)[0], "words": WHY, "sure": "yes"}
    assert nurse.post("/texts/decision", fields).status_code == 403
    done = manager.post("/texts/decision", fields)
    assert done.status_code == 302
    assert "stays back" not in nurse.get("/today").text
    kept = unescape(nurse.get("/texts").text)
    assert WHY in kept and "Nell Data Manager" in kept and "sst@1/en/descriptive-1" in kept
    assert "Use of descriptive texts decided" in manager.get("/audit").text


@on_sqlite
@pytest.mark.parametrize(
    ("changed", "said"),
    [
        ({"sure": ""}, "Tick that you decide"),
        ({"words": "no"}, "in 10 to 2000 characters"),
        ({"shown": "0" * 64}, "have changed since this page was shown"),
    ],
)
def test_a_decision_that_is_not_complete_is_not_recorded_and_its_words_stay(
    staff: StaffCase, changed: dict[str, str], said: str
) -> None:
    go_live(staff.case)
    manager = staff.sign_in("data_manager")
    fields = {"shown": SHOWN.findall(manager.get("/texts").text)[0], "words": "An earlier thought", "sure": "yes"}
    again = manager.post("/texts/decision", {**fields, **changed})
    assert again.status_code == 422 and said in again.text
    assert f">{({**fields, **changed})['words']}</textarea>" in again.text
    assert "Decisions on descriptive texts" not in again.text


BACK = "The licence arrived; nobody is to be asked in our words."


def decided(staff: StaffCase) -> str:
    """The address to which the withdrawal of the one decision is sent."""
    go_live(staff.case)
    staff.case.enrol()
    manager = staff.sign_in("data_manager")
    fields = {"shown": SHOWN.findall(manager.get("/texts").text)[0], "words": WHY, "sure": "yes"}
    assert manager.post("/texts/decision", fields).status_code == 302
    (path,) = re.findall(r'action="(/texts/decision/\d+)"', manager.get("/texts").text)
    return str(path)


@on_sqlite
def test_a_decision_is_withdrawn_with_a_reason_and_what_waits_shows_again(staff: StaffCase) -> None:
    path = decided(staff)
    manager, nurse = staff.sign_in("data_manager"), staff.sign_in("nurse")
    assert "Withdraw this decision" not in nurse.get("/texts").text
    name = f"why-{path.split('/')[3]}"
    assert nurse.post(path, {name: BACK}).status_code == 403
    done = manager.post(path, {name: BACK})
    assert (done.status_code, done.location) == (302, "/texts?done=decision-withdrawn#decisions")
    page = unescape(nurse.get("/texts").text)
    assert "Withdrawn by <b>Nell Data Manager</b>" in page and BACK in page and WHY in page
    assert "One open form of one patient stays back" in nurse.get("/today").text
    assert 'name="shown"' in manager.get("/texts").text, "it can be decided anew"
    assert "Decision about descriptive texts withdrawn" in manager.get("/audit").text
    again = manager.post(path, {name: "Pressed once more, later."})
    assert again.status_code == 422 and "withdrawn already; nothing was changed" in again.text
    assert "Pressed once more" not in unescape(manager.get("/texts").text)


@on_sqlite
def test_a_withdrawal_without_a_reason_is_not_saved_and_its_words_stay(staff: StaffCase) -> None:
    path = decided(staff)
    manager = staff.sign_in("data_manager")
    again = manager.post(path, {f"why-{path.split('/')[3]}": "hm"})
    assert again.status_code == 422 and "in 10 to 2000 characters why the decision is withdrawn" in again.text
    assert ">hm</textarea>" in again.text and "Withdrawn by" not in again.text
    assert manager.post("/texts/decision/999", {}).status_code == 404


@on_sqlite
def test_the_plans_page_shows_items_minutes_and_windows(staff: StaffCase) -> None:
    page = staff.sign_in("surgeon").get("/plans").text
    for said in ("Standard follow-up", "New follow-ups of this clinic start with it", "Years 3–4, 6–9", "18–24"):
        assert said in page
    assert "Opens day 28, invites day 35, due day 42, closes day 63" in page


@on_sqlite
def test_an_answer_is_shown_in_the_words_of_the_licensed_text_that_was_asked(staff: StaffCase) -> None:
    install(staff.sign_in("data_manager"), text_file())
    patient_id = staff.case.enrol(language="es")
    staff.case.publish(patient_id)
    phone = staff.case.phone(patient_id)
    phone.fetch()
    phone.send(phone.seal(phone.payload(phone.sheet["forms"][0], best, staff.case.now)))
    staff.case.process()
    with staff.case.store.reading() as session:
        response_id = session.scalars(select(Response.id)).one()
    page = staff.sign_in("nurse").get(f"/responses/{response_id}").text
    assert '<b lang="es" dir="ltr">invented option 1</b>' in page and "sst@1/es/licensed-1" in page


@pytest.mark.parametrize(
    ("code", "said"), [("es", "Spanish"), ("es-MX", "Spanish (es-MX)"), ("zu", "Zulu"), ("qq", "qq")]
)
def test_a_language_is_said_by_its_name(code: str, said: str) -> None:
    assert language(code) == said


@on_sqlite
def test_a_clinic_in_a_language_without_texts_is_told_so_wherever_forms_stay_back(staff: StaffCase) -> None:
    with staff.case.store.writing() as session:
        the_clinic(session).languages = "fr"
    manager = staff.sign_in("data_manager")
    page = manager.get("/texts").text
    assert "there is no text in French, so forms that ask it stay back" in " ".join(page.split())
    assert "nor in another language of this clinic: not asked" in page
    assert "asked in a language that has one" not in page
    assert "there is no text in French" in staff.sign_in("nurse").get("/today").text


@on_sqlite
def test_after_enrolling_it_says_that_nothing_is_sent_before_the_decision(staff: StaffCase) -> None:
    go_live(staff.case)
    patient_id = staff.case.enrol()
    page = " ".join(staff.sign_in("nurse").get(f"/patients/{patient_id}/enrolled").text.split())
    assert "no decision stands that it may" in page


@on_sqlite
def test_with_nobody_enrolled_it_says_what_will_stay_back(staff: StaffCase) -> None:
    go_live(staff.case)
    pages = [staff.sign_in(role).get(path).text for role, path in (("nurse", "/today"), ("data_manager", "/held"))]
    assert "Forms wait until a data manager decides on their texts." in pages[0]
    assert "Forms wait until you decide on their texts." in pages[1]
    assert "of no patients" not in "".join(pages)
