"""Year marks: every timepoint of a shoulder at its true time."""

from datetime import date
from typing import Any

from server.worklist import Mark, history_marks
from tests.storehouse import NOW, TODAY, add_follow_up, add_operation, add_patient, add_timepoint
from tests.worklist.ward import Ward

SURGERY = date(2020, 6, 15)


def test_each_status_has_its_mark_at_its_time(ward: Ward) -> None:
    with ward.store.writing() as session:
        patient = add_patient(session)
        operation = add_operation(session, patient, surgery_on=SURGERY)
        follow_up = add_follow_up(session, operation)
        rows: list[tuple[str, int, dict[str, Any]]] = [
            ("baseline", 2020, {"due_on": date(2020, 5, 15), "closes_on": SURGERY, **_answered("early")}),
            ("year-1", 2021, _answered("in")),
            ("year-2", 2022, _answered("late")),
            ("year-3", 2023, {"asked_on": date(2023, 6, 1)}),
            ("year-4", 2024, {}),
            ("year-5", 2025, {"not_expected_on": date(2025, 6, 1), "not_expected_reason": "transferred"}),
            ("year-6", 2026, {}),
            ("year-7", 2027, {}),
        ]
        for code, year, facts in rows:
            add_timepoint(session, follow_up, code, **{"due_on": date(year, 6, 15), **facts})
        patient_id, shoulder_id = patient.id, operation.shoulder_id
    with ward.store.reading() as session:
        marks = history_marks(session, [patient_id], today=TODAY)[shoulder_id]
    assert marks == [
        Mark(-0.085, "answered", "", "baseline"),
        Mark(0.999, "answered", "1", "year-1"),
        Mark(1.999, "late", "2", "year-2"),
        Mark(2.998, "missed", "", "year-3"),
        Mark(4.0, "never_asked", "", "year-4"),
        Mark(4.999, "not_expected", "5", "year-5"),
        Mark(5.999, "open", "", "year-6"),
        Mark(6.998, "to_come", "", "year-7"),
    ]


def test_marks_of_a_revision_stand_on_the_same_ruler(ward: Ward) -> None:
    with ward.store.writing() as session:
        patient = add_patient(session)
        add_operation(session, patient, surgery_on=SURGERY)
        revision = add_operation(session, patient, surgery_on=date(2024, 6, 15), kind="revision")
        add_timepoint(session, add_follow_up(session, revision), "year-1", due_on=date(2025, 6, 15))
        ids = (patient.id, revision.shoulder_id)
    with ward.store.reading() as session:
        (mark,) = history_marks(session, [ids[0]], today=TODAY)[ids[1]]
    assert (round(mark.years_from_surgery, 1), mark.label) == (5.0, "1")


def test_a_shoulder_without_any_day_of_surgery_starts_at_its_baseline(ward: Ward) -> None:
    with ward.store.writing() as session:
        patient = add_patient(session)
        operation = add_operation(session, patient)
        add_timepoint(
            session, add_follow_up(session, operation), "baseline", due_on=TODAY, closes_on=None, anchor_on=None
        )
        patient_id = patient.id
    with ward.store.reading() as session:
        (marks,) = history_marks(session, [patient_id], today=TODAY).values()
        (mark,) = marks
        assert (mark.years_from_surgery, mark.kind) == (0.0, "open")


def _answered(state: str) -> dict[str, Any]:
    return {"answered_on": date(2021, 6, 15), "answered_at": NOW, "window_state": state, "done_at": NOW}
