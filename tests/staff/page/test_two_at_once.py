"""Two people at once: nothing that one typed is silently undone by the other; the later one sees both and chooses."""

import pytest
from sqlalchemy import select

from server.clinic.entries import ShoulderEntry
from server.models import Operation, Patient
from tests.staff.sent_form import inputs_of, send
from tests.staff.staff_case import Staff, StaffCase

pytestmark = pytest.mark.parametrize("database_url", ["sqlite"], indirect=True, scope="module")


@pytest.fixture
def surgeon(staff: StaffCase) -> Staff:
    return staff.sign_in("surgeon")


@pytest.fixture
def planned(staff: StaffCase) -> int:
    return staff.case.enrol(ShoulderEntry(side="left", surgery_planned_on=staff.case.today), phone="555 0111")


def kept(staff: StaffCase, patient_id: int) -> Patient:
    with staff.case.store.reading() as session:
        return session.get_one(Patient, patient_id)


def test_the_second_tab_does_not_restore_the_old_telephone_number(
    staff: StaffCase, nurse: Staff, surgeon: Staff, planned: int
) -> None:
    page, action = f"/patients/{planned}", f"/patients/{planned}/contact"
    opened = inputs_of(surgeon.get(page).text, action)
    assert send(nurse, page, action, {"phone": "555 0222"}).status_code == 302
    second = surgeon.post(action, {**opened, "address": "1 Quay Road"})
    assert second.status_code == 422 and "Changed meanwhile" in second.text
    assert "Telephone: “555 0111” became “555 0222”, by Nell Nurse" in second.text
    again = inputs_of(second.text, action)
    assert (again["phone"], again["address"]) == ("555 0222", "1 Quay Road")
    assert kept(staff, planned).phone == "555 0222" and kept(staff, planned).address is None
    assert surgeon.post(action, again).status_code == 302
    assert (kept(staff, planned).phone, kept(staff, planned).address) == ("555 0222", "1 Quay Road")


@pytest.mark.parametrize(("take", "saved"), [({"theirs-phone": "yes"}, "555 0222"), ({}, "555 0333")])
def test_who_typed_the_same_field_sees_both_values_and_chooses(
    staff: StaffCase, nurse: Staff, surgeon: Staff, planned: int, take: dict[str, str], saved: str
) -> None:
    page, action = f"/patients/{planned}", f"/patients/{planned}/contact"
    opened = inputs_of(surgeon.get(page).text, action)
    send(nurse, page, action, {"phone": "555 0222"})
    second = surgeon.post(action, {**opened, "phone": "555 0333"})
    assert "You entered “555 0333”" in second.text and "Take “555 0222” instead of mine" in second.text
    again = inputs_of(second.text, action)
    assert (again["phone"], kept(staff, planned).phone) == ("555 0333", "555 0222")
    # A mistake on the way does not lose the choice.
    wrong = surgeon.post(action, {**again, **take, "email": "at home"})
    assert wrong.status_code == 422
    assert surgeon.post(action, {**inputs_of(wrong.text, action), "email": "ada@patient.example"}).status_code == 302
    assert kept(staff, planned).phone == saved


def test_a_day_of_surgery_that_was_moved_meanwhile_is_shown_before_it_is_moved_again(
    staff: StaffCase, nurse: Staff, surgeon: Staff, planned: int
) -> None:
    with staff.case.store.reading() as session:
        operation = session.scalars(select(Operation)).one()
    page, cancel = f"/patients/{planned}", f"/patients/{planned}/operations/{operation.id}"
    form, field = f"{cancel}/edit", "surgery_planned_on"
    opened, to_cancel = inputs_of(surgeon.get(form).text, form), inputs_of(surgeon.get(page).text, cancel)
    assert send(nurse, form, form, {field: "2026-07-01"}).status_code == 302
    second = surgeon.post(form, {**opened, field: "2026-08-01"})
    assert second.status_code == 422 and "became “1 July 2026”, by Nell Nurse" in second.text
    cancelled = surgeon.post(cancel, {**to_cancel, f"surgery-{operation.id}-on": staff.case.today.isoformat()})
    assert cancelled.status_code == 422 and "became “1 July 2026”, by Nell Nurse" in cancelled.text
    again = inputs_of(second.text, form)
    assert again[field] == "2026-08-01"
    assert surgeon.post(form, again).status_code == 302
    with staff.case.store.reading() as session:
        moved = session.get_one(Operation, operation.id).surgery_planned_on
    assert moved is not None and moved.isoformat() == "2026-08-01"


def test_a_birth_date_corrected_meanwhile_is_not_put_back(
    staff: StaffCase, nurse: Staff, surgeon: Staff, planned: int
) -> None:
    page, action = f"/patients/{planned}", f"/patients/{planned}/birth-date"
    opened = inputs_of(surgeon.get(page).text, action)
    send(nurse, page, action, {"birth_on": "1952-02-28"})
    assert "by Nell Nurse" in surgeon.post(action, opened).text
    assert kept(staff, planned).birth_on.isoformat() == "1952-02-28"
