"""The page of reminder ladders: a file checked, shown and installed, one put in force, since when and by whom."""

import hashlib
import io
import re
from html import unescape

import pytest
from sqlalchemy import select
from werkzeug.test import TestResponse

from server.models import InstalledLadder
from server.reminders.ladders import ladder_in_force
from tests.reminders.ladder_files import alter, ladder_file, steps, use
from tests.staff.html_page import read_page
from tests.staff.staff_case import Staff, StaffCase

# What a page says is the same on either database.
pytestmark = pytest.mark.parametrize("database_url", ["sqlite"], indirect=True, scope="module")

CARRIED = re.compile(r'name="carried" value="([^"]+)"')


def upload(manager: Staff, data: bytes, **fields: str) -> TestResponse:
    file = (io.BytesIO(data), "ladder.json")
    return manager.post("/reminders/check", {"file": file, **fields}, content_type="multipart/form-data")


def install(manager: Staff, data: bytes, **fields: str) -> TestResponse:
    shown = {"carried": CARRIED.findall(upload(manager, data).text)[0], "sha256": hashlib.sha256(data).hexdigest()}
    return manager.post("/reminders/install", {**shown, **fields})


def kept(staff: StaffCase) -> list[str]:
    with staff.case.store.reading() as session:
        return sorted(session.scalars(select(InstalledLadder.name)))


def test_the_ladder_in_force_is_shown_with_its_steps(staff: StaffCase) -> None:
    page = unescape(staff.sign_in("nurse").get("/reminders").text)
    assert "It came with the program, and none was chosen since." in page
    assert "Reminder 1: 7 days after the day of inviting, by the way the patient prefers" in page
    assert 'type="file"' not in page and "Put standard@1 in force" not in page


def test_a_file_is_checked_shown_installed_and_put_in_force(staff: StaffCase) -> None:
    manager, data = staff.sign_in("data_manager"), ladder_file(note="Agreed in May.")
    checked = upload(manager, data)
    assert checked.status_code == 200 and read_page(checked.text).unlabelled() == []
    assert "Agreed in May." in checked.text and "Day 10: 10 days after the day of inviting" in checked.text
    assert kept(staff) == []
    done = install(manager, data)
    assert done.status_code == 302 and kept(staff) == ["harbour@1"]
    assert "Put harbour@1 in force" in manager.get(done.location).text
    chosen = manager.post("/reminders/choice", {"ladder": "harbour@1"})
    page = unescape(manager.get(chosen.location).text)
    assert "Reminders go by this ladder from now on" in page
    assert "Since 15 June 2026, 11:00, by Nell Data Manager." in page
    assert page.index("Harbour reminders") < page.index("Invitation and three"), "the one in force stands first"
    assert "This ladder is there already" in upload(manager, data).text
    with staff.case.store.reading() as session:
        assert ladder_in_force(session).name == "harbour@1"


def test_a_bad_file_or_choice_is_refused_and_changes_nothing(staff: StaffCase) -> None:
    manager = staff.sign_in("data_manager")
    refused = upload(manager, ladder_file("1", years=steps(0, role="task")))
    assert refused.status_code == 422 and "years[0] role: no task is made of a task step yet" in refused.text
    assert upload(manager, ladder_file(), sha256="0" * 64).status_code == 422
    assert install(manager, ladder_file(), sha256="").status_code == 400
    assert manager.post("/reminders/install", {"carried": "no base64!", "sha256": "0" * 64}).status_code == 400
    assert manager.post("/reminders/choice", {"ladder": "harbour@1"}).status_code == 422
    assert kept(staff) == []


def test_an_altered_ladder_in_force_is_told_with_what_it_means(staff: StaffCase) -> None:
    use(staff.case, ladder_file())
    alter(staff.case)
    page = unescape(staff.sign_in("data_manager").get("/reminders").text)
    assert "its bytes in the database are no longer those that were installed" in page
    assert "Nobody is reminded until it is back or another one is chosen." in page
