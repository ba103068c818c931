"""A data lock: kept under a name, downloaded byte for byte, compared with today; whole or not there, and never another."""

import hashlib
import io
import signal
import subprocess
import sys
import zipfile

import pytest
from sqlalchemy import select, update

from server.installation import data_lock
from server.installation.runtime import Runtime
from server.models import AuditEntry, DataLock, Patient
from tests.staff.staff_case import StaffCase
from tests.staff.visited import fill_clinic

pytestmark = pytest.mark.parametrize("database_url", ["sqlite"], indirect=True, scope="module")
FORM = {"name": "five-years", "why": "The paper on five years"}


def locked(staff: StaffCase) -> DataLock:
    with staff.case.store.reading() as session:
        return session.scalars(select(DataLock)).one()


def count(staff: StaffCase) -> int:
    with staff.case.store.reading() as session:
        return len(session.scalars(select(DataLock)).all())


def test_a_lock_is_listed_and_downloaded_again_byte_for_byte_whatever_happens_since(staff: StaffCase) -> None:
    fill_clinic(staff)
    surgeon = staff.sign_in("surgeon")
    made = surgeon.post("/files/locks", FORM)
    lock = locked(staff)
    assert made.status_code == 302 and made.headers["Location"].startswith(f"/files/locks/{lock.id}")
    page = surgeon.get("/files").text
    assert "five-years" in page and "The paper on five years" in page and "Nell Surgeon" in page
    first = surgeon.post(f"/files/locks/{lock.id}").data
    assert hashlib.sha256(first).digest() == lock.sha256 and len(first) == lock.length
    with staff.case.store.writing() as session:
        session.execute(update(Patient).values(sex="male", died_on=staff.case.today))
    again = staff.sign_in("data_manager").post(f"/files/locks/{lock.id}")
    assert again.data == first and "yearmark-five-years.zip" in again.headers["Content-Disposition"]
    with zipfile.ZipFile(io.BytesIO(first)) as archive:
        assert b"female" in archive.read("yearmark/operations.csv")


def test_what_has_changed_since_is_counted_by_table(staff: StaffCase) -> None:
    fill_clinic(staff)
    surgeon = staff.sign_in("surgeon")
    surgeon.post("/files/locks", FORM)
    address = f"/files/locks/{locked(staff).id}/changes"
    same = surgeon.post(address).text
    assert same.count(">0</td>") == 3 * same.count('<th scope="row">') > 20
    with staff.case.store.writing() as session:
        session.execute(update(Patient).values(sex="male"))
    changed = surgeon.post(address).text
    row = changed.partition('<th scope="row">operations.csv</th>')[2].partition("</tr>")[0]
    assert [part.partition("<")[0] for part in row.split('">')[1:]] == ["0", "2", "0", "sex (2)"]


def test_a_name_is_used_once_and_must_be_plain(staff: StaffCase) -> None:
    surgeon = staff.sign_in("surgeon")
    assert surgeon.post("/files/locks", FORM).status_code == 302
    again = surgeon.post("/files/locks", FORM)
    assert again.status_code == 422 and "a lock never changes" in again.text and 'value="five-years"' in again.text
    for wrong in ({"name": "Five years"}, {"name": ""}, {"why": "  "}, {"why": "x" * 401}, {"name": "a" * 41}):
        assert surgeon.post("/files/locks", {**FORM, "name": "other", **wrong}).status_code == 422, wrong
    assert count(staff) == 1


def test_a_power_cut_in_the_middle_leaves_no_lock_and_the_next_try_works(
    staff: StaffCase, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The last write before the commit fails, as it would without power: the transaction takes the lock with it."""
    runtime = staff.app.extensions["yearmark"]
    assert isinstance(runtime, Runtime)

    def no_power(*_anything: object, **_more: object) -> None:
        raise OSError("no power")

    with monkeypatch.context() as cut:
        cut.setattr(data_lock, "audit", no_power)
        with pytest.raises(OSError, match="no power"):
            data_lock.make_lock(runtime, FORM["name"], FORM["why"], by_id=None)
    assert count(staff) == 0
    assert data_lock.make_lock(runtime, FORM["name"], FORM["why"], by_id=None).name == "five-years"


def test_killed_between_writing_the_lock_and_the_commit_there_is_none_and_the_next_try_works(staff: StaffCase) -> None:
    """By the system, as when the power goes: the sealed bytes are part of the row, so no file is left without one."""
    fill_clinic(staff)
    settings = staff.case.runtime.settings
    child = [sys.executable, "-m", "tests.staff.files.lock_child", settings.database_url, str(settings.data)]
    ended = subprocess.run(child, check=False, capture_output=True, timeout=120)
    assert ended.returncode == -signal.SIGKILL, ended.stderr
    assert count(staff) == 0
    surgeon = staff.sign_in("surgeon")
    assert surgeon.post("/files/locks", FORM).status_code == 302
    lock = locked(staff)
    assert hashlib.sha256(surgeon.post(f"/files/locks/{lock.id}").data).digest() == lock.sha256


def test_a_lock_that_was_altered_or_does_not_open_is_never_given_out(staff: StaffCase) -> None:
    surgeon = staff.sign_in("surgeon")
    surgeon.post("/files/locks", FORM)
    lock = locked(staff)
    sealed = staff.case.store.ring.seal(b"other files", "data_lock.content")
    said: list[str] = []
    for content in (sealed, b"x" * 60):
        with staff.case.store.writing() as session:
            session.execute(update(DataLock).values(content=content))
        answers = [surgeon.post(f"/files/locks/{lock.id}{more}") for more in ("", "/changes")]
        said += [answer.text for answer in answers if answer.status_code == 500]
    assert ["no longer what was locked" in text for text in said] == [True, True, False, False]
    assert ["does not open" in text for text in said] == [False, False, True, True]


def test_the_locked_files_lie_sealed_in_the_database_and_the_audit_trail_says_who(staff: StaffCase) -> None:
    fill_clinic(staff)
    surgeon = staff.sign_in("surgeon")
    surgeon.post("/files/locks", FORM)
    surgeon.post(f"/files/locks/{locked(staff).id}")
    with staff.case.store.reading() as session:
        content = session.scalars(select(DataLock.content)).one()
        made = select(AuditEntry.action).where(AuditEntry.action.like("data_lock:%")).order_by(AuditEntry.id)
        actions = session.scalars(made).all()
    assert not zipfile.is_zipfile(io.BytesIO(content)) and b"study_number" not in content
    assert list(actions) == ["data_lock:made", "data_lock:downloaded"]


def test_a_lock_that_is_not_there_is_not_found(staff: StaffCase) -> None:
    surgeon = staff.sign_in("surgeon")
    assert surgeon.get("/files/locks/77").status_code == 404
    assert [surgeon.post(f"/files/locks/77{more}").status_code for more in ("", "/changes")] == [404, 404]
