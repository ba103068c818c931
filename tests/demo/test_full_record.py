"""Each kind of thing that the record holds stands in the invented clinic, written by the functions that staff pages use."""

from sqlalchemy import func, select

from server.clinic.history import read_changes
from server.clinic.hospital_numbers import find_by_number, key_of
from server.demo.mending import READ_AGAIN, REPORT_SAYS
from server.fields.field import CERTAINTIES
from server.models import (
    AuditEntry,
    ClinicEvent,
    ClinicFinding,
    Component,
    FieldChange,
    HospitalNumber,
    Operation,
    OperationLog,
    Patient,
    PatientMerge,
)
from tests.demo.play import Demo


def test_events_are_reported_confirmed_and_adjudicated_each_with_its_way_there(seeded: Demo) -> None:
    with seeded.runtime.store.reading() as session:
        events = session.scalars(select(ClinicEvent)).all()
        adjudicated = next(each for each in events if each.certainty == "adjudicated")
        changes = read_changes(session, [("clinic_event", adjudicated.id)], most=50)
    assert {each.certainty for each in events} >= {"reported", "adjudicated"}
    steps = [each.new for each in reversed(changes) if each.field == "certainty"]
    assert steps == [CERTAINTIES["confirmed"], CERTAINTIES["adjudicated"]]
    assert all(each.why for each in changes)
    assert {each.kind for each in events} >= {"infection", "revision_advised"}


def test_what_a_patient_said_in_an_answer_became_an_event_that_names_it(seeded: Demo) -> None:
    with seeded.runtime.store.reading() as session:
        said = session.scalars(select(ClinicEvent).where(ClinicEvent.response_id.is_not(None))).all()
    assert said and {each.certainty for each in said} == {"reported"}


def test_an_exchange_in_two_stages_is_one_revision_with_a_spacer_in_between(seeded: Demo) -> None:
    with seeded.runtime.store.reading() as session:
        second = session.scalars(select(Operation).where(Operation.kind == "second_stage")).one()
        first = session.get_one(Operation, second.first_stage_id)
        spacers = session.scalars(select(Component).where(Component.role == "spacer")).all()
        assert (first.kind, first.stage, first.follow_ups) == ("revision", "first_of_two", [])
        assert second.follow_ups
        assert [(each.put_in_id, each.taken_out_id) for each in spacers] == [(first.id, second.id)]


def test_there_are_a_conversion_and_an_operation_elsewhere(seeded: Demo) -> None:
    with seeded.runtime.store.reading() as session:
        conversion = session.scalars(select(Operation).where(Operation.kind == "conversion")).one()
        elsewhere = session.scalars(select(Operation).where(Operation.place == "elsewhere")).one()
        before = [each for each in conversion.shoulder.operations if each.kind == "index"]
        assert [(each.implant_type, each.put_in) for each in before] == [("none", [])]
        assert (elsewhere.kind, elsewhere.known_by, elsewhere.follow_ups) == ("other", "letter", [])


def test_corrections_stand_in_the_history_with_their_reasons(seeded: Demo) -> None:
    with seeded.runtime.store.reading() as session:
        changes = session.scalars(select(FieldChange).where(FieldChange.why.is_not(None))).all()
        reasons = {(each.table_name, each.field): each.why for each in changes}
    assert reasons["component", "lot"] == READ_AGAIN and reasons["operation", "surgery_on"] == REPORT_SAYS
    assert ("operation_log", "not_enrolled_reason") in reasons and ("patient", "lost_on") in reasons


def test_whoever_was_enrolled_twice_is_one_person_with_both_shoulders(seeded: Demo) -> None:
    with seeded.runtime.store.reading() as session:
        merge = session.scalars(select(PatientMerge)).one()
        kept = session.get_one(Patient, merge.kept_id)
        assert {each.side for each in kept.shoulders} == {"left", "right"}
        assert session.get_one(Patient, merge.alias_id).merged_into_id == kept.id
        merged = session.scalar(select(func.count()).where(AuditEntry.action == "patient:merged"))
    assert merged == 1 and merge.why


def test_everybody_is_found_by_a_hospital_number(seeded: Demo) -> None:
    with seeded.runtime.store.reading() as session:
        rows = session.scalars(select(HospitalNumber)).all()
        key = key_of(session, seeded.runtime.keys)
        assert rows and all(find_by_number(session, key, each.number) == [each.patient_id] for each in rows[:5])
        people = session.scalar(select(func.count()).where(Patient.merged_into_id.is_(None)))
    assert len({each.patient_id for each in rows}) == people


def test_the_log_and_the_visits_say_more_than_a_date(seeded: Demo) -> None:
    with seeded.runtime.store.reading() as session:
        lines = session.scalars(select(OperationLog)).all()
        findings = session.scalars(select(ClinicFinding)).all()
    assert len({each.not_enrolled_reason for each in lines}) >= 4 and all(each.birth_year for each in lines)
    assert findings and all(each.flexion_degrees is not None and each.radiograph_on for each in findings)
