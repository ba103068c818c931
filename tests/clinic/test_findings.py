"""What is found at a visit is checked by its table, kept, corrected with a reason, and taken back without being deleted."""

from datetime import date

import pytest

from server.clinic.findings import correct_finding, record_finding
from server.clinic.history import read_changes
from server.clinic.recorded import bring_back, take_back
from server.fields.check import EntryRefused
from server.fields.field import Value
from server.models import ClinicFinding
from tests.clinic.cast import Desk
from tests.storehouse import NOW, TODAY

# The rules are Python's; test_record_in_any_order.py and test_surgery_and_leaving.py do the same on both databases.
pytestmark = pytest.mark.parametrize("database_url", ["sqlite"], indirect=True, scope="module")

FOUND: dict[str, Value] = {"examined_on": date(2026, 6, 1), "examiner": "Dr Quillhurst", "flexion_degrees": 150}


def test_a_finding_is_kept_with_what_was_examined(desk: Desk) -> None:
    with desk.store.writing() as session:
        shoulder = desk.enrol(session).shoulders[0]
        found = {
            **FOUND,
            "passive_flexion_degrees": 165,
            "internal_rotation": "l3",
            "radiograph_views": ("true_ap", "axillary"),
            "radiograph_scheme": "lazarus",
            "loosening": "moderate",
            "loosening_of": "glenoid",
        }
        finding = record_finding(session, shoulder, found, now=NOW, today=TODAY, by_id=None)
        assert (finding.shoulder_id, finding.examined_on, finding.flexion_degrees) == (
            shoulder.id,
            date(2026, 6, 1),
            150,
        )
        assert (finding.passive_flexion_degrees, finding.internal_rotation) == (165, "l3")
        assert finding.radiograph_views == "true_ap,axillary"
        assert (finding.radiograph_scheme, finding.loosening_of) == ("lazarus", "glenoid")
        assert finding.abduction_degrees is None


@pytest.mark.parametrize(
    ("changed", "field"),
    [
        ({"examined_on": date(2026, 6, 16)}, "examined_on"),
        ({"examined_on": date(1957, 3, 27)}, "examined_on"),
        ({"examiner": None}, "examiner"),
        ({"flexion_degrees": 260}, "flexion_degrees"),
        ({"loosening": "slight"}, "loosening"),
        ({"loosening": "other"}, "radiograph_other"),
        ({"loosening": "none", "loosening_of": "glenoid"}, "loosening_of"),
        ({"migration_of": "both"}, "migration_of"),
        ({"radiograph_scheme": "other"}, "radiograph_scheme_other"),
        ({"radiograph_views": ("true_ap", "other")}, "radiograph_views_other"),
        ({"internal_rotation": "knee"}, "internal_rotation"),
        ({"strength": 40.0}, "strength_unit"),
        ({"strength_device": "other"}, "strength_device_other"),
        (
            {"strength": 40.0, "strength_unit": "n", "strength_position": "abduction_90", "cannot_reach_90": True},
            "strength",
        ),
    ],
)
def test_a_finding_that_cannot_be_is_refused_at_its_field(desk: Desk, changed: dict[str, Value], field: str) -> None:
    with pytest.raises(EntryRefused) as refused, desk.store.writing() as session:
        shoulder = desk.enrol(session).shoulders[0]
        record_finding(session, shoulder, {**FOUND, **changed}, now=NOW, today=TODAY, by_id=None)
    assert list(refused.value.errors) == [field]


def test_nobody_is_examined_after_their_death(desk: Desk) -> None:
    with pytest.raises(EntryRefused) as refused, desk.store.writing() as session:
        patient = desk.enrol(session)
        patient.died_on = date(2026, 5, 30)
        record_finding(session, patient.shoulders[0], FOUND, now=NOW, today=TODAY, by_id=None)
    assert refused.value.errors == {"examined_on": ["1 June 2026 is after the death on 30 May 2026. Check both days."]}


def test_a_correction_keeps_what_stood_before_and_why(desk: Desk) -> None:
    with desk.store.writing() as session:
        finding = record_finding(session, desk.enrol(session).shoulders[0], FOUND, now=NOW, today=TODAY, by_id=None)
        better = {**FOUND, "flexion_degrees": 115}
        correct_finding(session, finding, better, now=NOW, today=TODAY, by_id=None, why="read off upside down")
        assert finding.flexion_degrees == 115
        [change] = read_changes(session, [("clinic_finding", finding.id)], most=5)
        assert (change.label, change.old, change.new, change.why) == (
            "Active flexion",
            "150",
            "115",
            "read off upside down",
        )


def test_what_was_entered_in_error_stays_marked_so_and_can_be_brought_back(desk: Desk) -> None:
    with desk.store.writing() as session:
        finding = record_finding(session, desk.enrol(session).shoulders[0], FOUND, now=NOW, today=TODAY, by_id=None)
        take_back(session, finding, why="another patient", now=NOW, by_id=None)
        assert session.get_one(ClinicFinding, finding.id).taken_back_at == NOW
        bring_back(session, finding, why="it was this one", now=NOW, by_id=None)
        whys = [change.why for change in read_changes(session, [("clinic_finding", finding.id)], most=5)]
        assert (finding.taken_back_at, whys) == (None, ["it was this one", "another patient"])
