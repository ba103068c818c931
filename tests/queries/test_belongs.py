"""Every table that hangs on a patient is known with its way to the patient, and so is whose each thing of the audit trail is."""

from datetime import timedelta

import pytest

from server.clinic.entries import ShoulderEntry
from server.models import Operation, Patient, Response, Shoulder, Timepoint
from server.queries.belongs import PATIENT_OF, records_of, rows_of, things_of, whose
from server.store.base import Base as Tables
from tests.clinic_case import Case
from tests.clinic_case import case as case

# Whose a row is does not depend on the database.
on_sqlite = pytest.mark.parametrize("database_url", ["sqlite"], indirect=True, scope="module")


def hanging_on_a_patient() -> set[str]:
    """Tables with a key to the patient, or to a table that has one, and so on; and those that the hash or handle of a link joins."""
    tables = Tables.metadata.sorted_tables
    found = {"patient"} | {each.name for each in tables if {"lookup_hash", "handle"} & set(each.columns.keys())}
    while True:
        more = {
            table.name for table in tables if any(key.column.table.name in found for key in table.foreign_keys)
        } - found
        if not more:
            return found
        found |= more


def test_every_table_that_hangs_on_a_patient_is_known() -> None:
    assert len(hanging_on_a_patient()) > 20
    assert hanging_on_a_patient() == {model.__tablename__ for model in PATIENT_OF}


@on_sqlite
def test_rows_and_things_are_those_of_the_patient_and_of_nobody_else(case: Case) -> None:
    operated = ShoulderEntry(side="left", surgery_on=case.today - timedelta(days=400))
    ada, ben = case.enrol(operated), case.enrol(operated, first_name="Ben", email="ben@patient.example")
    with case.store.reading() as session:
        of_ada = {model: rows_of(session, model, [ada]) for model in (Patient, Shoulder, Operation, Timepoint)}
        assert [each.id for each in of_ada[Patient]] == [ada]
        assert [each.side for each in of_ada[Shoulder]] == ["left"] and len(of_ada[Operation]) == 1
        assert {each.patient_id for each in of_ada[Timepoint]} == {ada}
        operation = f"operation {of_ada[Operation][0].id}"
        assert {f"patient {ada}", operation} <= set(things_of(session, [ada]))
        assert set(things_of(session, [ada])) & set(things_of(session, [ben])) == set()
        asked = [
            operation,
            f"patient {ben}",
            f"follow-up {of_ada[Operation][0].follow_ups[0].id}",
            "clinic 1",
            "export",
        ]
        assert whose(session, asked) == {operation: ada, f"patient {ben}": ben, asked[2]: ada}
        assert whose(session, ["operation 999", "account 1", "ladder standard@1"]) == {}


@on_sqlite
def test_records_that_were_made_one_are_one_person_whichever_is_asked_for(case: Case) -> None:
    ada, again, other = (case.enrol(email=f"{name}@patient.example") for name in ("a", "b", "c"))
    with case.store.writing() as session:
        session.get_one(Patient, again).merged_into_id = ada
    with case.store.reading() as session:
        assert records_of(session, ada) == records_of(session, again) == [ada, again]
        assert records_of(session, other) == [other]
        both = [each.patient_id for each in rows_of(session, Shoulder, [ada, again])]
        assert both == [ada, again] and rows_of(session, Response, [ada]) == []
