"""Only a phone with the living link and the right birth date hears from which records the clinic goes on."""

from collections.abc import Callable

import pytest
from sqlalchemy.orm import Session

from server.links.make import correct_birth_date, end_links, replace_link
from server.models import Patient, Restoration
from tests.clinic_case import NOW, Case
from tests.stranger import Stranger, best

# What is answered is the same on either database.
pytestmark = pytest.mark.parametrize("database_url", ["sqlite"], indirect=True, scope="module")
Change = Callable[[Session, Patient], None]


def replaced(session: Session, patient: Patient) -> None:
    replace_link(session, patient, now=NOW)


def ended(session: Session, patient: Patient) -> None:
    end_links(session, patient, now=NOW)


def corrected(session: Session, patient: Patient) -> None:
    correct_birth_date(session, patient, patient.birth_on.replace(year=1960), now=NOW)


def restored(case: Case) -> None:
    with case.store.writing() as session:
        session.add(Restoration(restored_at=NOW, backup_id="ab" * 16, backup_made_at=NOW))


def opened(case: Case) -> tuple[int, Stranger, str]:
    """A patient, the patient's phone, and what it has sealed."""
    patient_id = case.enrol()
    phone = case.phone(patient_id)
    phone.fetch()
    return patient_id, phone, phone.seal(phone.payload(phone.sheet["forms"][0], best, case.now))


def test_a_living_link_hears_that_there_was_none_and_then_which_one(case: Case) -> None:
    _patient_id, phone, envelope = opened(case)
    heard = [(phone.fetch()[1], phone.send(envelope)[0])]
    restored(case)
    heard.append((phone.fetch()[1], phone.send(envelope)[0]))
    told = [[answer["restored_at"] for answer in answers] for answers in heard]
    assert told == [[None, None], ["2026-06-15T09:00:00.000Z"] * 2]


@pytest.mark.parametrize("change", [replaced, ended, corrected])
def test_what_such_a_link_sends_is_stored_and_no_restore_is_told(case: Case, change: Change) -> None:
    patient_id, phone, envelope = opened(case)
    restored(case)
    with case.store.writing() as session:
        change(session, session.get_one(Patient, patient_id))
    [receipt] = phone.send(envelope)
    assert receipt["status"] == "stored"
    assert "restored_at" not in receipt


@pytest.mark.parametrize("change", [replaced, ended])
def test_nor_when_it_asks_what_is_due(case: Case, change: Change) -> None:
    patient_id, phone, _envelope = opened(case)
    restored(case)
    with case.store.writing() as session:
        change(session, session.get_one(Patient, patient_id))
    assert phone.fetch()[1] == {"state": change.__name__, "sheet": None, "server_time": "2026-06-15T09:00:00.000Z"}
