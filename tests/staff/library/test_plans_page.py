"""The page of follow-up plans: a file checked, shown and installed, one plan chosen for new follow-ups, and what cannot be used."""

import hashlib
import io
import re
from html import unescape

import pytest
from sqlalchemy import select
from werkzeug.test import TestResponse

from server.models import FollowUp, InstalledPlan, Patient
from server.queries.clock import the_clinic
from tests.staff.html_page import read_page
from tests.staff.staff_case import Staff, StaffCase
from tests.timepoints.making import NEEDS_PERMISSION, alter, license_in, plan_file
from tests.timepoints.making import install as install_in

# What a page says is the same on either database.
pytestmark = pytest.mark.parametrize("database_url", ["sqlite"], indirect=True, scope="module")

CARRIED = re.compile(r'name="carried" value="([^"]+)"')
NEW_PATIENT = {
    "first_name": "Vera",
    "last_name": "Vane",
    "birth_on": "1958-04-02",
    "language": "en",
    "email": "vera@patient.example",
    "channel_order": "email",
    "consent_contact": "yes",
    "right_shoulder": "yes",
    "right_surgery_planned_on": "2026-07-01",
}


def upload(manager: Staff, data: bytes, **fields: str) -> TestResponse:
    file = (io.BytesIO(data), "plan.json")
    return manager.post("/plans/check", {"file": file, **fields}, content_type="multipart/form-data")


def install(manager: Staff, data: bytes, **fields: str) -> TestResponse:
    shown = {"carried": CARRIED.findall(upload(manager, data).text)[0], "sha256": hashlib.sha256(data).hexdigest()}
    return manager.post("/plans/install", {**shown, **fields})


def kept(staff: StaffCase) -> list[str]:
    with staff.case.store.reading() as session:
        return sorted(row.name for row in session.scalars(select(InstalledPlan)))


def test_a_file_is_checked_shown_and_installed_as_it_was_shown(staff: StaffCase) -> None:
    manager, data = staff.sign_in("data_manager"), plan_file(note="Agreed in May.")
    checked = upload(manager, data)
    page = read_page(checked.text)
    assert checked.status_code == 200 and page.unlabelled() == []
    assert page.all("h1")[0].text.startswith("Harbour follow-up")
    for said in ("nothing is installed yet", "Agreed in May.", "Opens day 28", hashlib.sha256(data).hexdigest()):
        assert said in checked.text, said
    assert kept(staff) == []
    done = install(manager, data)
    assert done.status_code == 302 and kept(staff) == ["harbour@1"]
    listed = unescape(manager.get(done.location).text)
    assert "The plan is installed." in listed and "15 June 2026, 11:00, by Nell Data Manager" in listed
    assert "installed already" in upload(manager, data).text
    assert "Follow-up plan installed" in manager.get("/audit").text
    with staff.case.store.reading() as session:
        row = session.scalars(select(InstalledPlan)).one()
        assert (row.content.encode(), row.installed_by_id) == (data, staff.account_id("data_manager"))


def test_the_chosen_plan_starts_new_follow_ups(staff: StaffCase) -> None:
    manager = staff.sign_in("data_manager")
    install(manager, plan_file())
    chosen = manager.post("/plans/default", {"plan": "harbour@1"})
    assert chosen.status_code == 302
    page = manager.get(chosen.location).text
    assert "New follow-ups start with this plan from now on" in page
    assert page.index("Harbour follow-up") < page.index("Standard follow-up"), "the default stands first"
    assert staff.sign_in("nurse").post("/patients/new", NEW_PATIENT).status_code == 302
    with staff.case.store.reading() as session:
        assert session.scalars(select(FollowUp.plan_id)).all() == ["harbour"]
    assert "One running follow-up goes by it" in manager.get("/plans").text
    assert "Harbour follow-up: before surgery, 6 weeks and year 1" in staff.sign_in("surgeon").get("/instruments").text


def test_the_close_plan_comes_with_the_program_and_starts_new_follow_ups_once_chosen(staff: StaffCase) -> None:
    manager = staff.sign_in("data_manager")
    offered = unescape(manager.get("/plans").text)
    assert "Start new follow-ups with close@1" in offered and "Opens day 75" in offered and "Opens day 150" in offered
    assert manager.post("/plans/default", {"plan": "close@1"}).status_code == 302
    assert staff.sign_in("nurse").post("/patients/new", NEW_PATIENT).status_code == 302
    with staff.case.store.reading() as session:
        assert session.scalars(select(FollowUp.plan_id)).all() == ["close"]
    assert "Close follow-up: before surgery, 6 weeks, 3 months, 6 months and " in manager.get("/instruments").text


def test_who_manages_no_data_installs_and_chooses_nothing(staff: StaffCase) -> None:
    install_in(staff.case, plan_file())
    page = staff.sign_in("surgeon").get("/plans").text
    assert 'type="file"' not in page and "/plans/default" not in page and "on the command line" in page
    for path in ("/plans/check", "/plans/install", "/plans/default"):
        assert staff.sign_in("nurse").post(path, {"plan": "harbour@1"}).status_code == 403


@pytest.mark.parametrize(
    ("data", "fields", "says"),
    [
        (b"", {}, "the file is empty."),
        (plan_file("new", "1", NEEDS_PERMISSION), {}, "no licensed text is installed in every language of the clinic"),
        (plan_file(title="Another"), {}, "version: harbour@1 was installed on 2026-06-15 with other content"),
        (plan_file("new"), {"sha256": "0" * 64}, "it was changed on the way"),
        (plan_file("new", version="<b>"), {}, "does not have the form"),
    ],
    ids=["empty", "permission", "same name", "hash", "markup"],
)  # fmt: skip
def test_a_bad_file_is_refused_with_place_and_reason(
    staff: StaffCase, data: bytes, fields: dict[str, str], says: str
) -> None:
    install_in(staff.case, plan_file())
    refused = upload(staff.sign_in("data_manager"), data, **fields)
    assert refused.status_code == 422
    assert says in unescape(refused.text) and "Nothing is changed" in refused.text and "<b>" not in refused.text
    assert kept(staff) == ["harbour@1"]


def test_what_was_not_shown_is_not_installed(staff: StaffCase) -> None:
    manager = staff.sign_in("data_manager")
    assert install(manager, plan_file(), sha256="0" * 64).status_code == 422
    assert install(manager, plan_file(), sha256="").status_code == 400
    assert manager.post("/plans/install", {"carried": "no base64!", "sha256": "0" * 64}).status_code == 400
    assert kept(staff) == []


def test_a_plan_that_lost_its_licensed_text_cannot_be_chosen_and_says_why(staff: StaffCase) -> None:
    license_in(staff.case, NEEDS_PERMISSION, "en", "es")
    install_in(staff.case, plan_file("harbour", "1", NEEDS_PERMISSION))
    with staff.case.store.writing() as session:
        the_clinic(session).languages = "en,es,ar"
    manager = staff.sign_in("data_manager")
    page = manager.get("/plans").text
    assert f"{NEEDS_PERMISSION} needs its owner" in page and "Start new follow-ups with harbour@1" not in page
    refused = manager.post("/plans/default", {"plan": "harbour@1"})
    assert refused.status_code == 422 and "This plan cannot be chosen." in refused.text


def test_an_altered_plan_enrols_nobody_crashes_nothing_and_is_told_everywhere(staff: StaffCase) -> None:
    install_in(staff.case, plan_file(), default=True)
    patient_id = staff.case.enrol()
    alter(staff.case)
    nurse, manager = staff.sign_in("nurse"), staff.sign_in("data_manager")
    told = (
        "The follow-up plan harbour@1 cannot be used: its bytes in the database are no longer those that were installed"
    )
    for page in (nurse.get("/today"), manager.get("/held"), manager.get("/plans")):
        assert page.status_code == 200 and told in page.text
    for path in (f"/patients/{patient_id}", "/patients/new", "/instruments", "/instruments/sst@1", "/texts"):
        assert nurse.get(path).status_code == 200, path
    refused = nurse.post("/patients/new", NEW_PATIENT)
    assert refused.status_code == 422 and 'value="Vera"' in refused.text
    assert "No follow-up can start: the plan harbour@1 cannot be used" in refused.text
    operation = {"side": "left", "kind": "index", "surgery_planned_on": "2026-07-01"}
    again = nurse.post(f"/patients/{patient_id}/operations/new", operation)
    assert again.status_code == 422 and "No follow-up can start" in again.text
    with staff.case.store.reading() as session:
        assert session.scalars(select(Patient.id)).all() == [patient_id]
    assert manager.post("/plans/default", {"plan": "standard@1"}).status_code == 302
    assert nurse.post("/patients/new", NEW_PATIENT).status_code == 302


def test_an_altered_plan_that_nothing_waits_for_is_told_on_its_page_only(staff: StaffCase) -> None:
    install_in(staff.case, plan_file())
    alter(staff.case)
    manager = staff.sign_in("data_manager")
    assert "harbour@1 cannot be used" in manager.get("/plans").text
    assert "harbour@1" not in manager.get("/held").text and "harbour@1" not in staff.sign_in("nurse").get("/today").text
