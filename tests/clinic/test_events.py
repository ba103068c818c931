"""Events are checked by their table and by what goes together: certainty with its source, cultures with their numbers."""

from datetime import date

import pytest

from server.clinic.entries import ShoulderEntry
from server.clinic.events import correct_event, record_event, recorded_as
from server.clinic.history import read_changes
from server.fields.check import EntryRefused
from server.fields.event import SOURCE_KINDS
from server.fields.event_grade import grade_of
from server.fields.field import CERTAINTIES, Value
from tests.clinic.cast import Desk
from tests.storehouse import NOW, TODAY

# The rules are Python's; test_record_in_any_order.py and test_surgery_and_leaving.py do the same on both databases.
on_sqlite = pytest.mark.parametrize("database_url", ["sqlite"], indirect=True, scope="module")

HAPPENED: dict[str, Value] = {
    "kind": "infection",
    "happened_on": date(2026, 5, 1),
    "certainty": "reported",
    "source_kind": "patient",
}
JUDGED: dict[str, Value] = {
    "certainty": "confirmed",
    "source_kind": "other_hospital",
    "judged_by": "Nora Nurse",
    "judged_on": date(2026, 6, 1),
}


@on_sqlite
def test_an_event_keeps_how_exactly_its_day_is_known(desk: Desk) -> None:
    with desk.store.writing() as session:
        shoulder = desk.enrol(session).shoulders[0]
        known = {**HAPPENED, "happened_precision": "month"}
        event = record_event(session, shoulder, known, now=NOW, today=TODAY, by_id=None)
        assert (event.happened_on, event.happened_precision) == (date(2026, 5, 1), "month")


@on_sqlite
def test_several_organisms_are_kept_each_by_its_name(desk: Desk) -> None:
    with desk.store.writing() as session:
        shoulder = desk.enrol(session).shoulders[0]
        grown = {**HAPPENED, "organism": ("cutibacterium", "staph_aureus", "other"), "organism_other": "a rare one"}
        event = record_event(session, shoulder, grown, now=NOW, today=TODAY, by_id=None)
        assert event.organism == "cutibacterium,staph_aureus,other"


@on_sqlite
def test_a_reported_operation_is_linked_once_to_the_one_that_it_is(desk: Desk) -> None:
    with desk.store.writing() as session:
        patient = desk.enrol(session)
        shoulder = patient.shoulders[0]
        reported = {**HAPPENED, "kind": "operated_again"}
        event = record_event(session, shoulder, reported, now=NOW, today=TODAY, by_id=None)
        other = record_event(session, shoulder, HAPPENED, now=NOW, today=TODAY, by_id=None)
        entry = ShoulderEntry("left", kind="revision", surgery_on=date(2026, 5, 1))
        revision = desk.add(session, patient, entry)
        for each in (event, other):
            recorded_as(session, each, shoulder.operations[0], now=NOW, by_id=None)
            assert each.recorded_as_id is None, "the first operation is not done again, and an infection is none"
            recorded_as(session, each, revision, now=NOW, by_id=None)
        assert (event.recorded_as_id, other.recorded_as_id) == (revision.id, None)
        changes = read_changes(session, [("clinic_event", event.id)], most=9)
        assert [each.field for each in changes] == ["recorded_as_id"]


@on_sqlite
@pytest.mark.parametrize(
    ("changed", "field"),
    [
        ({"kind": "headache"}, "kind"),
        ({"kind": "other"}, "kind_other"),
        ({"source_kind": None}, "source_kind"),
        ({"source_kind": "other"}, "source"),
        ({"treatment": "other"}, "procedure"),
        ({"happened_on": date(2027, 1, 1)}, "happened_on"),
        ({"happened_on": date(1950, 1, 1)}, "happened_on"),
        ({"kind": "revision_advised"}, "revision_decision"),
        ({"revision_decision": "unfit"}, "revision_decision"),
        ({**JUDGED, "source_kind": "patient"}, "source_kind"),
        ({**JUDGED, "judged_by": None}, "judged_by"),
        ({**JUDGED, "judged_on": date(2026, 4, 1)}, "judged_on"),
        ({"judged_by": "Dr Quillhurst"}, "certainty"),
        ({"infection_certainty": "probable"}, "infection_definition"),
        ({"cultures_taken": 3, "cultures_positive": 5}, "cultures_positive"),
        ({"kind": "stiffness", "cultures_taken": 3}, "cultures_taken"),
        ({"kind": "stiffness", "organism": ("cutibacterium",)}, "organism"),
        ({"organism": ("cutibacterium", "other")}, "organism_other"),
        ({"organism": ("cutibacterium",), "organism_other": "a rare one"}, "organism_other"),
        ({"kind": "unexpected_positive_culture", "cultures_taken": 5, "cultures_positive": 0}, "cultures_positive"),
    ],
)
def test_an_event_that_cannot_be_is_refused_at_its_field(desk: Desk, changed: dict[str, Value], field: str) -> None:
    with pytest.raises(EntryRefused) as refused, desk.store.writing() as session:
        shoulder = desk.enrol(session).shoulders[0]
        record_event(session, shoulder, {**HAPPENED, **changed}, now=NOW, today=TODAY, by_id=None)
    assert list(refused.value.errors) == [field]


@on_sqlite
def test_a_reported_event_that_is_confirmed_keeps_that_it_was_reported_and_by_which_answer(desk: Desk) -> None:
    with desk.store.writing() as session:
        shoulder = desk.enrol(session).shoulders[0]
        event = record_event(session, shoulder, HAPPENED, now=NOW, today=TODAY, by_id=None)
        confirmed = {**HAPPENED, **JUDGED}
        correct_event(session, event, confirmed, now=NOW, today=TODAY, by_id=None, why="letter of the hospital")
        changes = {
            each.field: (each.old, each.new) for each in read_changes(session, [("clinic_event", event.id)], most=9)
        }
        assert changes["certainty"] == (CERTAINTIES["reported"], CERTAINTIES["confirmed"])
        assert changes["source_kind"] == (SOURCE_KINDS["patient"], SOURCE_KINDS["other_hospital"])


@pytest.mark.parametrize(
    ("kind", "treatment", "harm", "grade"),
    [
        ("infection", None, None, None),
        ("infection", "unknown", "unknown", None),
        ("stiffness", "observation", "none", 1),
        ("infection", "medicine", None, 2),
        ("infection", "revision", "some", 3),
        ("nerve", "none", "limiting", 4),
        ("cardiac", "intensive_care", "death", 5),
        ("death", None, None, 5),
    ],
)
def test_a_grade_follows_from_treatment_and_harm(
    kind: str, treatment: str | None, harm: str | None, grade: int | None
) -> None:
    assert grade_of(kind, treatment, harm) == grade
