"""A small invented clinic to export, and its files read back."""

import csv
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date
from pathlib import Path
from typing import Any

import pytest
from sqlalchemy.orm import Session

from scoring.library import load_library
from server.crypto.fields import PatientCipher
from server.exports import Manifest, export_set
from server.models import Component, Consent, Patient, Response
from server.store.engine import Store
from server.trust.keys import KeyFolder
from tests.storehouse import (
    NOW,
    add_account,
    add_follow_up,
    add_operation,
    add_response,
    add_score,
    add_timepoint,
    answered,
    make_store,
    part,
)
from tests.storehouse import add_patient as add_person

SURGERY = date(2024, 5, 10)
CANARY = "Canary"
SST = {str(item): 1 for item in range(1, 10)} | {"10": 0, "11": 0, "12": 0}


@dataclass(frozen=True)
class Exporter:
    store: Store
    keys: KeyFolder
    folder: Path

    def cipher(self, patient: Patient) -> PatientCipher:
        self.keys.new_patient_key(patient.handle)
        return self.keys.patient_cipher(patient.handle)

    def export(self, name: str = "set", *, all_patients: bool = False) -> Manifest:
        library, out = load_library(), self.folder / name
        return export_set(self.store, self.keys.patient_cipher, library, out, now=NOW, all_patients=all_patients)

    def rows(self, file: str, name: str = "set") -> list[dict[str, str]]:
        with (self.folder / name / file).open(encoding="utf-8", newline="") as written:
            return list(csv.DictReader(written, strict=True))

    def long(self, kind: str, **wanted: str) -> list[dict[str, str]]:
        rows = [row for row in self.rows("long.csv") if row["row_kind"] == kind]
        return [row for row in rows if all(row[name] == value for name, value in wanted.items())]


@pytest.fixture
def exporter(database_url: str, tmp_path: Path) -> Iterator[Exporter]:
    store = make_store(database_url, tmp_path)
    yield Exporter(store, KeyFolder(tmp_path / "keys"), tmp_path)
    store.engine.dispose()


def add_patient(session: Session, study_number: str = "Y-0001", **values: Any) -> Patient:
    """A patient who agreed to research."""
    patient = add_person(session, study_number, **values)
    consent_to_research(session, patient)
    return patient


def consent_to_research(session: Session, patient: Patient, *, withdrawn_on: date | None = None) -> None:
    given = Consent(patient_id=patient.id, kind="research", version="1", given_on=SURGERY, withdrawn_on=withdrawn_on)
    session.add(given)
    session.flush()


def ada_answers(exporter: Exporter, session: Session) -> Response:
    """Ada, operated on the left in May 2024, answered year 1 by telephone with every state an item can have."""
    ada = add_patient(session, "Y-0001", first_name=f"{CANARY}-first", last_name=f"{CANARY}-last",
                      email=f"{CANARY}@example.org", phone="+34 600 999 111", address=f"{CANARY} Street",
                      second_contact=f"{CANARY} sister")  # fmt: skip
    operation = add_operation(session, ada, surgery_on=SURGERY, implant_type="resurfacing_hemi",
                              surgeon=f"{CANARY} surgeon", procedure="other", procedure_other=f"{CANARY} procedure",
                              diagnosis_stage=f"{CANARY} 3", smoking=f"ask {CANARY}", glenoid_type=f"{CANARY} A1",
                              glenoid_wear=f"{CANARY} mild", glenoid_treatment=f"by {CANARY}", fixation=f"{CANARY} glue",
                              subscapularis_handling=f"{CANARY} peel", earlier_surgery=f"{CANARY} knows", bmi=27.5)  # fmt: skip
    for role, lot in (("head", "L1"), ("cement", "L2")):
        session.add(Component(put_in_id=operation.id, role=role, model="=1+1", lot=lot, made_at=NOW))
    year_1 = add_timepoint(session, add_follow_up(session, operation), "year-1", due_on=date(2025, 5, 10))
    parts = [
        part("since@1", {
            "1": {"state": "answered", "value": 1},
            "1a": {"state": "answered", "value": "2025-02"},
            "1b": {"state": "answered", "value": f"{CANARY} hospital"},
            "2": {"state": "declined"},
            "3": {"state": "not_applicable"},
            "4": {"state": "not_reached"},
            "5": {"state": "not_given"},
            "6": {"state": "answered", "value": 0},
            "6a": {"state": "skipped"},
        }),
        part("sst@1", answered(dict(SST))),
    ]  # fmt: skip
    nurse = add_account(session)
    response = add_response(session, year_1, parts, cipher=exporter.cipher(ada), entered_by=nurse, on=date(2025, 5, 20))
    add_score(session, response)
    add_score(
        session,
        response,
        "pain",
        scale="pain",
        value=None,
        status="not_scored",
        reason="not answered",
        answered=0,
        items=1,
    )
    return response
