"""A death and a withdrawal are entered with who said so, how surely and since when; what speaks against them is asked about once."""

from datetime import date, timedelta

import pytest
from sqlalchemy import select

from server.clinic.entries import ShoulderEntry
from server.models import Consent, FieldChange, Patient
from server.staff.page import words
from tests.staff.mending.mending_case import patient_of, status, timepoint_of
from tests.staff.sent_form import inputs_of, send
from tests.staff.staff_case import Staff, StaffCase, years_ago

pytestmark = pytest.mark.parametrize("database_url", ["sqlite"], indirect=True, scope="module")

BY_GP = {"died_source": "gp", "died_certainty": "confirmed"}


@pytest.fixture
def ada(staff: StaffCase) -> int:
    return staff.case.enrol(ShoulderEntry(side="left", surgery_on=years_ago(staff.case, 1)))


def leave(nurse: Staff, patient_id: int, reason: str, on: date, **more: str) -> tuple[int, str]:
    page = f"/patients/{patient_id}/leave"
    sent = send(nurse, f"{page}?what={reason}", page, {"leave-on": on.isoformat(), "sure": "yes", **more})
    return sent.status_code, sent.text


def see(nurse: Staff, patient_id: int, on: date) -> None:
    visit = {"side": "left", "examiner": "Dr Quillhurst", "examined_on": on.isoformat()}
    assert nurse.post(f"/patients/{patient_id}/findings/new", visit).status_code == 302


@pytest.mark.parametrize(("reason", "more"), [("died", BY_GP), ("transferred", {})])
def test_what_is_recorded_of_a_later_day_is_named_once_and_that_it_was_checked_is_kept(
    staff: StaffCase, nurse: Staff, ada: int, reason: str, more: dict[str, str]
) -> None:
    today = staff.case.today
    see(nurse, ada, today)
    code, page = leave(nurse, ada, reason, today - timedelta(days=3), **more)
    sentence = f"The patient was examined on {words.day(today)}."
    assert code == 422 and sentence in page
    assert getattr(patient_of(staff, ada), f"{reason}_on") is None
    address, another = f"/patients/{ada}/leave", f"The patient was examined on {words.day(today - timedelta(days=1))}."
    see(nurse, ada, today - timedelta(days=1))
    again = nurse.post(address, {**inputs_of(page, address), "checked": "yes"})
    assert again.status_code == 422 and another in again.text, "the tick was for what the page showed, and this is new"
    assert nurse.post(address, {**inputs_of(again.text, address), "checked": "yes"}).status_code == 302
    with staff.case.store.reading() as session:
        kept = select(FieldChange.new).where(FieldChange.table_name == "patient", FieldChange.field == "checked")
        assert [each.new for each in session.execute(kept)] == [another, sentence]
    assert (sentence in nurse.get(f"/patients/{ada}/last-known").text) == (reason == "died")


def test_a_death_says_by_whom_it_is_known_and_a_relatives_word_stays_reported(
    staff: StaffCase, nurse: Staff, ada: int
) -> None:
    today = staff.case.today
    code, page = leave(nurse, ada, "died", today)
    assert code == 422 and "Known from" in page and "How sure" in page
    code, page = leave(nurse, ada, "died", today, died_source="relative", died_certainty="confirmed")
    assert code == 422 and "What is known from a relative or friend is only said." in page
    assert leave(nurse, ada, "died", today, died_source="relative", died_certainty="reported")[0] == 302
    kept = patient_of(staff, ada)
    assert (kept.died_on, kept.died_source, kept.died_certainty, kept.died_precision) == (
        today, "relative", "reported", None,
    )  # fmt: skip


def test_a_death_known_to_the_month_is_kept_as_the_first_day_that_it_can_be(
    staff: StaffCase, nurse: Staff, ada: int
) -> None:
    month = (staff.case.today.replace(day=1) - timedelta(days=1)).replace(day=1)
    seen = month + timedelta(days=9)
    see(nurse, ada, seen)
    assert leave(nurse, ada, "died", month + timedelta(days=4), **BY_GP, died_precision="month")[0] == 302
    kept = patient_of(staff, ada)
    assert (kept.died_on, kept.died_precision) == (seen, "month"), "and not before the visit of that month"
    assert f"{month:%B %Y}" in nurse.get(f"/patients/{ada}/leave").text
    see(nurse, ada, month + timedelta(days=20))


def test_each_step_of_a_withdrawal_keeps_its_own_day(staff: StaffCase, nurse: Staff, ada: int) -> None:
    today = staff.case.today
    contact, records, erasure = (today - timedelta(days=days) for days in (200, 20, 10))
    for extent, on in (("contact", contact), ("records", records), ("erasure", erasure)):
        assert leave(nurse, ada, "withdrew", on, extent=extent, by="self")[0] == 302
    kept = patient_of(staff, ada)
    assert (kept.withdrew_on, kept.records_closed_on, kept.erasure_asked_on) == (contact, records, erasure)
    see(nurse, ada, records - timedelta(days=1))
    visit = {"side": "left", "examiner": "Dr Quillhurst", "examined_on": records.isoformat()}
    refused = nurse.post(f"/patients/{ada}/findings/new", visit)
    assert refused.status_code == 422 and f"asked for erasure on {erasure.day} {erasure:%B %Y}" in refused.text
    assert status(staff, timepoint_of(staff, ada, "year-1").id) == "not_expected"


def test_a_death_after_the_records_were_closed_is_entered_where_it_is_known_otherwise(
    staff: StaffCase, nurse: Staff, ada: int
) -> None:
    today = staff.case.today
    assert leave(nurse, ada, "withdrew", today - timedelta(days=20), extent="records", by="self")[0] == 302
    death = {"died_certainty": "confirmed", "died_precision": "day"}
    status_code, said = leave(nurse, ada, "died", today, died_source="hospital", **death)
    assert status_code == 422 and "a relative or by a public notice" in said and patient_of(staff, ada).died_on is None
    assert leave(nurse, ada, "died", today, died_source="certificate", **death)[0] == 302
    assert patient_of(staff, ada).died_on == today


@pytest.mark.parametrize(("source", "closed"), [("hospital", "records"), ("death_register", "linkage")])
def test_a_death_known_to_its_month_is_not_taken_from_what_was_closed_within_that_month(
    staff: StaffCase, nurse: Staff, ada: int, source: str, closed: str
) -> None:
    first = (staff.case.today.replace(day=1) - timedelta(days=1)).replace(day=1)
    shut = first + timedelta(days=9)
    with staff.case.store.writing() as session:
        if closed == "records":
            patient = session.get_one(Patient, ada)
            patient.withdrawal_extent, patient.withdrew_on, patient.records_closed_on = "records", shut, shut
        else:
            linkage = {"kind": "linkage", "version": "1", "withdrawn_on": shut}
            session.add(Consent(patient_id=ada, given_on=first, **linkage))
    death = {"died_source": source, "died_certainty": "confirmed"}
    code, said = leave(nurse, ada, "died", first, **death, died_precision="month")
    assert code == 422 and f"{shut.day} {shut:%B %Y}" in said and patient_of(staff, ada).died_on is None
    assert leave(nurse, ada, "died", first, **death, died_precision="day")[0] == 302, "that day was before it"


def test_who_withdrew_for_a_child_is_named_and_stands_in_the_consents(staff: StaffCase, nurse: Staff, ada: int) -> None:
    today = staff.case.today
    with staff.case.store.writing() as session:
        patient = session.get_one(Patient, ada)
        patient.birth_on, patient.birth_year = date(today.year - 12, 1, 2), today.year - 12
    assert "Say by whom." in leave(nurse, ada, "withdrew", today, extent="contact")[1]
    assert "Write the name" in leave(nurse, ada, "withdrew", today, extent="contact", by="parent")[1]
    assert leave(nurse, ada, "withdrew", today, extent="contact", by="parent", by_name="B. Ardent, mother")[0] == 302
    with staff.case.store.reading() as session:
        ended = session.scalars(select(Consent).where(Consent.kind == "contact")).one()
        assert (ended.withdrawn_on, ended.withdrawn_by, ended.withdrawn_by_name) == (
            today,
            "parent",
            "B. Ardent, mother",
        )
    page = f"/patients/{ada}/leave"
    assert send(nurse, page, f"{page}/withdrew", {"withdrew-why": "she thought again"}).status_code == 302
    with staff.case.store.reading() as session:
        assert session.scalars(select(Consent.withdrawn_by).where(Consent.kind == "contact")).one() is None


def test_a_death_stands_while_an_event_of_it_does(staff: StaffCase, nurse: Staff, ada: int) -> None:
    page, day = f"/patients/{ada}", staff.case.today.isoformat()
    event = {"side": "left", "kind": "death", "happened_on": day, "certainty": "reported", "source_kind": "gp"}
    early = nurse.post(f"{page}/events/new", event)
    assert early.status_code == 422 and "Enter the death first" in early.text
    assert leave(nurse, ada, "died", staff.case.today, **BY_GP)[0] == 302
    new = f"{page}/events/new"
    asked = nurse.post(new, event)
    assert asked.status_code == 422 and "counted up to 90 days after an operation" in asked.text
    entered = str(nurse.post(new, {**inputs_of(asked.text, new), "checked": "yes"}).location).partition("?")[0]
    back = {"died-why": "it was her sister"}
    refused = send(nurse, f"{page}/leave", f"{page}/leave/died", back)
    assert refused.status_code == 422 and "An event says that the patient died." in refused.text
    assert nurse.post(f"{entered}/in-error", {"act": "take", "why_back": "her sister"}).status_code == 302
    assert send(nurse, f"{page}/leave", f"{page}/leave/died", back).status_code == 302
    assert patient_of(staff, ada).died_on is None
