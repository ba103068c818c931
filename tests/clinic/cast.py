"""Who is enrolled in these tests. Everybody is invented."""

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date
from pathlib import Path

import pytest
from sqlalchemy.orm import Session

from server.clinic.enrol import add_operation, enrol
from server.clinic.entries import Enrolment, ShoulderEntry
from server.fields.field import Value
from server.models import Operation, Patient
from server.queries.clock import the_clinic
from server.store.engine import Store
from server.trust.keys import KeyFolder
from tests.storehouse import NOW, TODAY, make_store, standard_plan

DONE = ShoulderEntry(
    side="left", surgery_on=date(2025, 6, 20), diagnosis="osteoarthritis", implant_type="resurfacing_hemi"
)
PLANNED = ShoulderEntry(side="right", surgery_planned_on=date(2026, 7, 1))
ADA = Enrolment(
    first_name="Ada",
    last_name="Ardent",
    birth_on=date(1957, 3, 28),
    sex="female",
    email="ada@example.org",
    consents=("contact", "research"),
    shoulders=(DONE,),
)


@dataclass(frozen=True)
class Desk:
    """A store and its key folder, with what every enrolment needs at hand."""

    store: Store
    keys: KeyFolder

    def enrol(self, session: Session, enrolment: Enrolment = ADA, *, today: date = TODAY) -> Patient:
        return enrol(
            session,
            enrolment,
            plan=standard_plan(),
            clinic=the_clinic(session),
            new_patient_key=self.keys.new_patient_key,
            now=NOW,
            today=today,
            by_id=None,
        )

    def add(self, session: Session, patient: Patient, entry: ShoulderEntry, *, today: date = TODAY) -> Operation:
        return add_operation(session, patient, entry, plan=standard_plan(), now=NOW, today=today, by_id=None)


@pytest.fixture
def desk(database_url: str, tmp_path: Path) -> Iterator[Desk]:
    store = make_store(database_url, tmp_path)
    yield Desk(store, KeyFolder(tmp_path / "keys"))
    store.engine.dispose()


def with_shoulders(*shoulders: ShoulderEntry) -> Enrolment:
    return Enrolment(**ADA.person, consents=ADA.consents, shoulders=shoulders)


def ada_but(**changed: Value) -> Enrolment:
    """Ada's enrolment with other values of her own."""
    return Enrolment(**{**ADA.person, **changed}, consents=ADA.consents, shoulders=ADA.shoulders)


def but(entry: ShoulderEntry, **changed: Value) -> ShoulderEntry:
    """The same operation with other values."""
    values = {**entry.values, **changed}
    return ShoulderEntry(str(values.pop("side", entry.side)), **values)
