"""Each kind of thing that the record holds stands in the invented clinic, written by the functions that staff pages use."""

from collections import Counter

from sqlalchemy import func, select

from server.clinic.history import read_changes
from server.clinic.hospital_numbers import find_by_number, key_of
from server.clinic.recall import Place, Wanted, carriers
from server.demo.mending import OTHER_SHOULDER, READ_AGAIN, REPORT_SAYS
from server.demo.mending_people import ANOTHER_OF_THAT_NAME, TWINS
from server.fields.field import CERTAINTIES
from server.forms.stored import open_answers
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
    Response,
    ResponseMend,
    Series,
    SeriesVersion,
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


def test_a_lot_is_of_one_part_of_one_model_and_a_recall_of_one_finds_several_people(seeded: Demo) -> None:
    with seeded.runtime.store.reading() as session:
        labelled = select(Component.lot, Component.model, Component.role).where(Component.lot.is_not(None))
        labels = session.execute(labelled.order_by(Component.lot)).all()
        most = Counter(each.lot for each in labels).most_common(1)[0][0]
        found = {each.patient.id for each in carriers(session, Wanted(lot=most)) if each.place is Place.IN_SITU}
    assert len({each.lot for each in labels}) == len({tuple(each) for each in labels})
    assert len(found) >= 3


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
        merge = session.scalars(select(PatientMerge).where(PatientMerge.undone_at.is_(None))).one()
        kept = session.get_one(Patient, merge.kept_id)
        assert {each.side for each in kept.shoulders} == {"left", "right"}
        assert session.get_one(Patient, merge.alias_id).merged_into_id == kept.id
        merged = session.scalar(select(func.count()).where(AuditEntry.action == "patient:merged"))
    assert merged == 2 and merge.why


def test_twins_were_taken_for_one_person_and_are_two_again(seeded: Demo) -> None:
    with seeded.runtime.store.reading() as session:
        undone = session.scalars(select(PatientMerge).where(PatientMerge.undone_at.is_not(None))).one()
        one, two = session.get_one(Patient, undone.kept_id), session.get_one(Patient, undone.alias_id)
        assert (one.last_name, one.birth_on) == (two.last_name, two.birth_on) and one.first_name != two.first_name
        assert [[each.side for each in person.shoulders] for person in (one, two)] == [["right"], ["left"]]
        assert two.merged_into_id is None and undone.undone_why == TWINS


def test_what_was_entered_on_the_wrong_shoulder_stands_on_the_right_one_and_its_answers_on_a_ground(
    seeded: Demo,
) -> None:
    wrong_side = select(ResponseMend).where(ResponseMend.reason == "wrong_side").order_by(ResponseMend.id)
    with seeded.runtime.store.reading() as session:
        mends = session.scalars(wrong_side).all()
        answers = [session.get_one(Response, each.response_id) for each in mends]
        shoulders = session.get_one(Patient, answers[0].patient_id).shoulders
        assert [each.side for each in shoulders if each.operations] == ["left"]
    assert [(each.what, each.ground, each.why) for each in mends] == [
        ("set_aside", None, OTHER_SHOULDER),
        ("kept", "patient", OTHER_SHOULDER),
    ]
    assert [(each.mode, each.counted, each.asked_side) for each in answers] == [
        ("own_phone", False, "right"),
        ("telephone", True, "right"),
    ]


def test_answers_of_one_twin_stood_with_the_other_and_were_moved_under_the_right_key(seeded: Demo) -> None:
    with seeded.runtime.store.reading() as session:
        mend = session.scalars(select(ResponseMend).where(ResponseMend.what == "moved")).one()
        before, after = session.get_one(Response, mend.response_id), session.get_one(Response, mend.moved_to_id)
        patient = session.get_one(Patient, after.patient_id)
        assert (mend.reason, before.counted, after.counted) == ("wrong_person", False, True)
        assert before.patient_id != patient.id
        assert open_answers(after.answers, seeded.runtime.keys.patient_cipher(patient.handle)).parts


def test_a_death_of_somebody_else_was_taken_back_and_the_patient_answers(seeded: Demo) -> None:
    taken_back = select(FieldChange).where(FieldChange.field == "died_on", FieldChange.old.is_not(None))
    with seeded.runtime.store.reading() as session:
        change = session.scalars(taken_back).one()
        patient = session.get_one(Patient, change.row_id)
        answered = session.scalars(select(Response).where(Response.patient_id == patient.id)).all()
        assert change.new is None and change.why == ANOTHER_OF_THAT_NAME and patient.died_on is None
        assert any(each.received_at > change.at and each.counted for each in answered)


def test_a_representative_consents_and_answers_and_no_score_comes_of_it(seeded: Demo) -> None:
    with seeded.runtime.store.reading() as session:
        patient = session.scalars(select(Patient).where(Patient.capacity_lost_on.is_not(None))).one()
        since = patient.capacity_lost_on
        given = [each for each in patient.consents if each.given_by == "representative"]
        later = [
            each
            for each in session.scalars(select(Response).where(Response.patient_id == patient.id))
            if since is not None and each.finished_at.date() > since
        ]
        assert patient.capacity_then == "proxy" and [each.kind for each in given] == ["contact"]
        assert len(later) == 2 and {each.answered_by for each in later} == {"someone_else"}
        assert [each.scores for each in later] == [[], []]


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


def test_a_series_was_set_before_looking_and_another_explored(seeded: Demo) -> None:
    with seeded.runtime.store.reading() as session:
        found = select(SeriesVersion.series_id, SeriesVersion.number, SeriesVersion.declared)
        saved = session.execute(found.order_by(SeriesVersion.series_id, SeriesVersion.number)).all()
        interests = session.scalars(select(Series.interests).order_by(Series.id)).all()
    assert [tuple(each) for each in saved] == [
        (1, 1, "set_before_looking"),
        (1, 2, "set_before_looking"),
        (2, 1, "explored"),
    ]
    assert interests[0] and interests[1] is None
