"""Backups names the forms whose window closed between copy and restore: no phone is asked for them again, and nobody else would say so."""

import re
from datetime import date, timedelta

import pytest
from sqlalchemy import select

from server.clinic.entries import ShoulderEntry
from server.models import Patient, Restoration, Timepoint
from tests.staff.staff_case import StaffCase
from tests.stranger import best

COPIED_BEFORE = timedelta(days=10)


def first_year_closes_on(staff: StaffCase, patient_id: int) -> date:
    one = select(Timepoint.closes_on).where(Timepoint.patient_id == patient_id, Timepoint.code == "year-1")
    with staff.case.store.reading() as session:
        closes_on = session.scalars(one).one()
    assert closes_on is not None
    return closes_on


def enrolled(staff: StaffCase, *, closes: int) -> tuple[str, int]:
    """Study number and id of a patient whose form of the first year closes that many days from today."""
    today = staff.case.today
    asked = staff.case.enrol(ShoulderEntry(side="left", surgery_on=today - timedelta(days=365)))
    open_for = (first_year_closes_on(staff, asked) - today).days
    patient_id = staff.case.enrol(
        ShoulderEntry(side="left", surgery_on=today - timedelta(days=365 + open_for - closes))
    )
    assert first_year_closes_on(staff, patient_id) == today + timedelta(days=closes)
    with staff.case.store.reading() as session:
        return session.get_one(Patient, patient_id).study_number, patient_id


def answered(staff: StaffCase, patient_id: int) -> None:
    phone = staff.case.phone(patient_id)
    phone.fetch()
    form = next(each for each in phone.sheet["forms"] if each["timepoint"] == "year-1")
    phone.send(phone.seal(phone.payload(form, best, staff.case.now)))
    assert staff.case.process().recorded == 1


def restored(staff: StaffCase) -> None:
    """Out of a copy that was made ten days ago."""
    now = staff.case.now
    with staff.case.store.writing() as session:
        session.add(Restoration(restored_at=now, backup_id="ab" * 16, backup_made_at=now - COPIED_BEFORE))


def backups(staff: StaffCase) -> str:
    page = staff.sign_in("data_manager").get("/backups")
    assert page.status_code == 200
    return page.text


def listed(staff: StaffCase) -> list[str]:
    """Study numbers under the heading, in their order."""
    page = backups(staff)
    _before, heading, rest = page.partition('id="closed"')
    return re.findall(r'<th scope="row">([^<]+)</th>', rest.partition("</table>")[0]) if heading else []


def test_those_that_closed_between_copy_and_restore_are_named_also_after_the_release(staff: StaffCase) -> None:
    """In front of them one that had closed before the copy, behind them one that is open still, and one that the copy has the answer to."""
    days = {closes: enrolled(staff, closes=closes) for closes in (5, 20, 15, 10, 30)}
    has_answered = enrolled(staff, closes=12)[1]
    answered(staff, has_answered)
    staff.case.now += timedelta(days=20)
    restored(staff)
    expected = [days[closes][0] for closes in (10, 15, 20)]
    assert listed(staff) == expected
    assert "listed below" in backups(staff)
    staff.sign_in("data_manager").post("/backups/release/1", {"waiting_messages": "passed_over"})
    assert listed(staff) == expected


@pytest.mark.parametrize("database_url", ["sqlite"], indirect=True, scope="module")
def test_a_clinic_that_was_never_restored_names_none(staff: StaffCase) -> None:
    enrolled(staff, closes=5)
    staff.case.now += timedelta(days=20)
    assert listed(staff) == []


@pytest.mark.parametrize("database_url", ["sqlite"], indirect=True, scope="module")
def test_where_none_closed_meanwhile_the_page_speaks_of_no_list(staff: StaffCase) -> None:
    enrolled(staff, closes=5)
    restored(staff)
    page = backups(staff)
    assert "A form that closed meanwhile is not asked again." in page
    assert "listed below" not in page and 'id="closed"' not in page


def test_an_answer_that_arrives_after_all_takes_its_form_off_the_list(staff: StaffCase) -> None:
    _number, patient_id = enrolled(staff, closes=5)
    phone = staff.case.phone(patient_id)
    phone.fetch()
    form = next(each for each in phone.sheet["forms"] if each["timepoint"] == "year-1")
    envelope = phone.seal(phone.payload(form, best, staff.case.now))
    staff.case.now += timedelta(days=8)
    restored(staff)
    assert len(listed(staff)) == 1
    phone.send(envelope)
    assert staff.case.process().recorded == 1
    assert listed(staff) == []


@pytest.mark.parametrize("database_url", ["sqlite"], indirect=True, scope="module")
def test_birth_dates_corrected_since_the_copy_are_named(staff: StaffCase) -> None:
    restored(staff)
    assert "A birth date that was corrected then is the wrong one again" in backups(staff)
