"""Who opened a page of which patient: a row for each person, patient and hour, written when the page has gone out."""

import re
from datetime import datetime, timedelta

import pytest
from sqlalchemy import select

from server.models import Envelope, Link, PatientView
from server.staff.page.patient_seen import NAMED
from server.staff.routes import ROUTES
from server.trust.views import note_view
from tests.staff.staff_case import StaffCase
from tests.staff.visited import fill_clinic

# When a page waits for a writer is the database's matter only in test_views_of_one_hour.
on_sqlite = pytest.mark.parametrize("database_url", ["sqlite"], indirect=True, scope="module")
# Ids in the address of a page that tell of no single patient who is enrolled.
OF_NOBODY = {"lock_id", "line_id", "draw_id", "series_id", "account_id", "notice_id"}


def views(staff: StaffCase) -> list[tuple[int, int, datetime]]:
    with staff.case.store.reading() as session:
        rows = session.scalars(select(PatientView).order_by(PatientView.hour, PatientView.by_id)).all()
        return [(each.patient_id, each.by_id, each.hour) for each in rows]


def open_whole(staff: StaffCase, role: str, path: str) -> int:
    """As a browser does: to the end of the answer."""
    with staff.sign_in(role).get(path) as answer:
        assert answer.data
        return answer.status_code


def test_each_page_with_an_id_shows_a_patient_or_is_known_to_show_none() -> None:
    ids = {name for route in ROUTES if route.method == "GET" for name in re.findall(r"<int:(\w+_id)>", route.path)}
    beside_the_patient = {"row_id", "operation_id"}  # only in addresses that name the patient too
    for route in ROUTES:
        if beside_the_patient & set(re.findall(r"<int:(\w+_id)>", route.path)):
            assert "<int:patient_id>" in route.path
    assert ids - beside_the_patient == set(NAMED) | OF_NOBODY


@on_sqlite
def test_every_page_about_a_patient_is_noted_and_no_other(staff: StaffCase) -> None:
    clinic = fill_clinic(staff)
    hour = staff.case.now.replace(minute=0, second=0, microsecond=0)
    once = [(clinic.patient_id, staff.account_id("nurse"), hour)]
    for path in ("/today", "/patients", "/patients/999", "/log/1", "/account"):
        open_whole(staff, "nurse", path)
    assert views(staff) == []
    for path in (
        f"/patients/{clinic.patient_id}",
        f"/patients/{clinic.patient_id}/letter",
        f"/responses/{clinic.response_id}",
        f"/flags/{clinic.flag_id}",
    ):
        with staff.case.store.writing() as session:
            session.query(PatientView).delete()
        assert open_whole(staff, "nurse", path) == 200
        assert views(staff) == once, path


@on_sqlite
def test_a_held_envelope_is_noted_for_whose_link_sent_it(staff: StaffCase) -> None:
    clinic = fill_clinic(staff)
    open_whole(staff, "nurse", f"/held/{clinic.envelope_id}")
    assert views(staff) == []
    with staff.case.store.writing() as session:
        from_link = session.get_one(Envelope, clinic.envelope_id)
        from_link.lookup_hash = link_of(staff, clinic.patient_id)
    open_whole(staff, "nurse", f"/held/{clinic.envelope_id}")
    assert [each[0] for each in views(staff)] == [clinic.patient_id]


def link_of(staff: StaffCase, patient_id: int) -> bytes:
    with staff.case.store.reading() as session:
        return session.scalars(select(Link.lookup_hash).where(Link.patient_id == patient_id)).one()


@on_sqlite
def test_who_may_not_open_the_page_has_seen_nobody(staff: StaffCase) -> None:
    patient_id = staff.case.enrol()
    assert open_whole(staff, "data_manager", f"/patients/{patient_id}") == 403
    with staff.browser().get(f"/patients/{patient_id}") as answer:
        assert answer.status_code == 302
    assert views(staff) == []


@on_sqlite
def test_a_page_waits_for_no_writer_and_fails_by_none(
    staff: StaffCase, monkeypatch: pytest.MonkeyPatch, caplog: pytest.LogCaptureFixture
) -> None:
    patient_id = staff.case.enrol()
    nurse = staff.sign_in("nurse")
    with staff.case.store.writing():
        answer = nurse.get(f"/patients/{patient_id}")
        assert answer.status_code == 200 and "Arden" in answer.text and views(staff) == []
    answer.close()
    assert len(views(staff)) == 1

    def refused(*_details: object) -> None:
        raise OSError("Ada Arden")

    monkeypatch.setattr("server.staff.page.patient_seen.note_view", refused)
    assert open_whole(staff, "surgeon", f"/patients/{patient_id}") == 200
    assert len(views(staff)) == 1
    assert "could not be kept: OSError" in caplog.text and "Arden" not in caplog.text


def test_views_of_one_hour_are_one_row_and_of_another_person_or_hour_another(staff: StaffCase) -> None:
    patient_id, nurse, surgeon = staff.case.enrol(), staff.account_id("nurse"), staff.account_id("surgeon")
    store, at = staff.case.store, staff.case.now.replace(minute=59)
    hour = at.replace(minute=0, second=0, microsecond=0)
    for who, when in ((nurse, at), (nurse, hour), (surgeon, at), (nurse, at + timedelta(minutes=1))):
        note_view(store, f"patient {patient_id}", who, when)
    later = hour + timedelta(hours=1)
    assert views(staff) == [(patient_id, nurse, hour), (patient_id, surgeon, hour), (patient_id, nurse, later)]
    note_view(store, "patient 999", nurse, at)
    assert len(views(staff)) == 3
