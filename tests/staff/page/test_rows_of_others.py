"""An address that names one patient and a row of another finds nothing, on every page and form that has both in its address."""

import re
from typing import Any

import pytest
from sqlalchemy import func, select

from server.clinic.entries import ShoulderEntry
from server.models import (
    AuditEntry,
    ClinicEvent,
    ClinicFinding,
    Consent,
    ContactAttempt,
    FieldChange,
    HospitalNumber,
    KnownStatus,
    Message,
    Operation,
    PatientMerge,
    Timepoint,
)
from server.staff.routes import ROUTES
from tests.staff.staff_case import Staff, StaffCase, years_ago
from tests.staff.visited import write_down

on_sqlite = pytest.mark.parametrize("database_url", ["sqlite"], indirect=True, scope="module")
BOTH = [each for each in ROUTES if "<int:patient_id>/" in each.path and each.path.count("<int:") == 2]
ROWS = {"events": ClinicEvent, "findings": ClinicFinding, "sources": KnownStatus}
# What would be done if the row were the patient's own.
SENT = {
    "act": "take", "why": "a reason", "why_back": "a reason", "what": "remove", "was": "left", "sure": "yes", "told": "yes",
}  # fmt: skip


def two_patients(staff: StaffCase, nurse: Staff) -> tuple[int, int]:
    """The second has a row of every kind; the first has an operation."""
    case = staff.case
    one, two = (
        case.enrol(ShoulderEntry(side="left", surgery_on=years_ago(case, 1)), first_name=name)
        for name in ("Ada", "Bea")
    )
    write_down(staff, two)
    added = nurse.post(f"/patients/{two}/numbers", {"issuer": "General Hospital", "number": "12-345"})
    assert added.status_code == 302
    with case.store.writing() as session:
        session.add(
            PatientMerge(kept_id=two, alias_id=one, alias_study_number="Y-0009", merged_at=case.now, moved="{}")
        )
        of_two = session.scalars(select(Timepoint.id).where(Timepoint.patient_id == two)).first()
        at = {"at": case.now, "by_id": staff.account_id()}
        session.add(ContactAttempt(patient_id=two, channel="telephone", result="reached", **at))
        sent = {"made_at": case.now, "done_at": case.now, "outcome": "sent"}
        session.add(Message(timepoint_id=of_two, step="invitation", channel="email", **sent))
    return one, two


def ids_of(staff: StaffCase) -> dict[str, int]:
    """The newest row of each table, which is the second patient's."""
    tables: dict[str, type[Any]] = {
        "operation_id": Operation, "consent_id": Consent, "number_id": HospitalNumber, "merge_id": PatientMerge,
        "attempt_id": ContactAttempt, "message_id": Message,
        **ROWS,
    }  # fmt: skip
    with staff.case.store.reading() as session:
        return {name: session.scalars(select(func.max(model.id))).one() for name, model in tables.items()}


def written(staff: StaffCase) -> tuple[int, int]:
    with staff.case.store.reading() as session:
        changes, acts = select(func.count(FieldChange.id)), select(func.count(AuditEntry.id))
        return session.scalar(changes) or 0, session.scalar(acts) or 0


@on_sqlite
def test_a_row_of_another_patient_is_not_found_under_this_one(staff: StaffCase, nurse: Staff) -> None:
    one, _two = two_patients(staff, nurse)
    ids, before = ids_of(staff), written(staff)
    found = {}
    for route in BOTH:
        folder = next((each for each in ROWS if f"/{each}/" in route.path), "")
        path = route.path.replace("<int:patient_id>", str(one))
        path = re.sub(r"<int:(\w+)>", lambda name: str(ids[folder or name[1]]), path)  # noqa: B023
        answer = nurse.get(path) if route.method == "GET" else nurse.post(path, SENT)
        found[f"{route.method} {route.path}"] = answer.status_code
    assert len(found) >= 20 and {where: code for where, code in found.items() if code != 404} == {}
    assert written(staff) == before
