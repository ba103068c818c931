"""One operation that was recorded in two records: what the kept one lacks is taken over, what differs is shown, no component is doubled."""

from datetime import timedelta
from typing import Any

import pytest
from sqlalchemy import select

from server.clinic.entries import ShoulderEntry
from server.clinic.recall import Wanted, carriers
from server.models import Component, Operation, OperationLog, Shoulder
from server.queries.coverage import read_lines
from tests.staff.mending.mending_case import mend, operations_of, reasons
from tests.staff.mending.test_same_person import make_one, undo
from tests.staff.sent_form import send_checked
from tests.staff.staff_case import Staff, StaffCase, years_ago

pytestmark = pytest.mark.parametrize("database_url", ["sqlite"], indirect=True, scope="module")

STEM = {"role": "stem", "maker": "Larkmake", "model": "Stem 3", "lot": "S-17"}
HEAD = {"role": "head", "maker": "Larkmake", "model": "Head 46"}


def enrol(staff: StaffCase, first_name: str, **recorded: Any) -> int:
    entry = ShoulderEntry(**{"side": "left", "surgery_on": years_ago(staff.case, 1), **recorded})
    return staff.case.enrol(entry, first_name=first_name)


def put_in(staff: StaffCase, patient_id: int, *components: dict[str, str]) -> None:
    [operation_id] = operations_of(staff, patient_id)
    with staff.case.store.writing() as session:
        session.add_all(Component(**each, put_in_id=operation_id, made_at=staff.case.now) for each in components)


def operation(staff: StaffCase, operation_id: int) -> Operation:
    with staff.case.store.reading() as session:
        return session.get_one(Operation, operation_id)


def parts_of(staff: StaffCase, operation_id: int) -> list[tuple[str, str | None]]:
    with staff.case.store.reading() as session:
        found = select(Component.role, Component.lot).where(Component.put_in_id == operation_id)
        return [(row.role, row.lot) for row in session.execute(found.order_by(Component.role, Component.id))]


def test_what_the_kept_operation_lacks_is_taken_over_and_given_back(staff: StaffCase, nurse: Staff) -> None:
    kept = enrol(staff, "Ada", diagnosis="osteoarthritis")
    enrol(staff, "Ada Maria", diagnosis="osteonecrosis", diagnosis_stage="severe", bmi=27.5, dominant="yes")
    [operation_id] = operations_of(staff, kept)
    shown = nurse.get(f"/patients/{kept}/same-person?other=Y-0002").text
    assert "takes over what it lacks: BMI." in shown and "takes over what it lacks: Dominant side." in shown
    staff.case.now += timedelta(minutes=5)
    assert make_one(nurse, kept, "Y-0002").status_code == 302
    now = operation(staff, operation_id)
    assert (now.bmi, now.diagnosis, now.diagnosis_stage) == (27.5, "osteoarthritis", None)
    why = "Y-0002 is the same person: the letter said so"
    assert ("bmi", None, "27.5", why) in reasons(staff) and ("dominant", None, "yes", why) in reasons(staff)
    assert undo(staff, nurse, kept).status_code == 302
    assert operation(staff, operation_id).bmi is None
    assert ("bmi", "27.5", None, "the letter said so") in reasons(staff)
    with staff.case.store.reading() as session:
        assert session.scalars(select(Shoulder.dominant).order_by(Shoulder.id)).all() == [None, "yes"]


def test_what_both_have_and_differs_is_shown_with_both_values_and_the_kept_one_stands(
    staff: StaffCase, nurse: Staff
) -> None:
    kept = enrol(staff, "Ada", diagnosis="osteoarthritis", asa="2")
    day_after = years_ago(staff.case, 1) + timedelta(days=1)
    enrol(staff, "Ada Maria", diagnosis="osteonecrosis", diagnosis_stage="severe", asa="3", surgery_on=day_after)
    shown = " ".join(nurse.get(f"/patients/{kept}/same-person?other=Y-0002").text.split())
    assert "Here both differ. What the kept record has stands" in shown
    asa = '<th scope="row">ASA class</th> <td data-word="stands">2</td> <td data-word="the other">3</td>'
    nothing = "nothing, since it belongs to “Diagnosis”, where both differ"
    stage = f'<th scope="row">Stage</th> <td data-word="stands">{nothing}</td> <td data-word="the other">severe</td>'
    assert asa in shown and stage in shown
    assert '<td data-word="stands">15 June 2025</td> <td data-word="the other">16 June 2025</td>' in shown
    earlier = "Y-0001 was enrolled before Y-0002."
    assert earlier not in shown and earlier in nurse.get("/patients/2/same-person?other=Y-0001").text
    assert make_one(nurse, kept, "Y-0002").status_code == 302
    [operation_id] = operations_of(staff, kept)
    assert operation(staff, operation_id).asa == "2"


def test_a_value_that_was_changed_since_stays_after_the_undo(staff: StaffCase, nurse: Staff) -> None:
    kept = enrol(staff, "Ada")
    enrol(staff, "Ada Maria", bmi=27.5, asa="3")
    [operation_id] = operations_of(staff, kept)
    make_one(nurse, kept, "Y-0002")
    staff.case.now += timedelta(minutes=5)
    assert mend(nurse, f"/patients/{kept}/operations/{operation_id}/edit", bmi="31").status_code == 302
    assert undo(staff, nurse, kept).status_code == 302
    now = operation(staff, operation_id)
    assert (now.bmi, now.asa) == (31, None)


def test_a_component_in_both_is_counted_once_and_one_that_only_the_other_has_goes_over(
    staff: StaffCase, nurse: Staff
) -> None:
    kept, alias = enrol(staff, "Ada", implant_type="stemmed_hemi"), enrol(staff, "Ada Maria")
    [operation_id], [other_id] = operations_of(staff, kept), operations_of(staff, alias)
    put_in(staff, kept, STEM, HEAD)
    put_in(staff, alias, {**HEAD, "lot": "H-9"}, {**STEM, "lot": "s17"}, {"role": "glenoid", "lot": "G-1"})
    shown = nurse.get(f"/patients/{kept}/same-person?other=Y-0002").text
    assert "Glenoid component, lot G-1: only the other record has it, so it goes over." in shown
    assert "Head or resurfacing cup, Larkmake, Head 46, lot not recorded: Lot" in shown and "Two components" in shown
    assert make_one(nurse, kept, "Y-0002").status_code == 302
    assert parts_of(staff, operation_id) == [("glenoid", "G-1"), ("head", "H-9"), ("stem", "S-17")]
    with staff.case.store.reading() as session:
        found = {
            lot: [each.patient.id for each in carriers(session, Wanted(lot=lot))] for lot in ("S-17", "H-9", "G-1")
        }
    assert found == {"S-17": [kept], "H-9": [kept], "G-1": [kept]}
    assert undo(staff, nurse, kept).status_code == 302
    assert parts_of(staff, operation_id) == [("head", None), ("stem", "S-17")]
    assert parts_of(staff, other_id) == [("glenoid", "G-1"), ("head", "H-9"), ("stem", "s17")]


def test_a_component_that_a_revision_of_the_other_record_took_out_is_out_of_the_kept_shoulder(
    staff: StaffCase, nurse: Staff
) -> None:
    kept, alias = enrol(staff, "Ada"), enrol(staff, "Ada Maria")
    put_in(staff, kept, STEM)
    put_in(staff, alias, STEM)
    day = (staff.case.today - timedelta(days=30)).isoformat()
    revision = {"side": "left", "kind": "revision", "reason": "pain", "surgery_on": day, "done": "yes"}
    assert send_checked(nurse, f"/patients/{alias}/operations/new", revision).status_code == 302
    revised = max(operations_of(staff, alias))
    with staff.case.store.writing() as session:
        [theirs] = session.scalars(select(Component).where(Component.put_in_id == min(operations_of(staff, alias))))
        theirs.taken_out_id = revised
    assert make_one(nurse, kept, "Y-0002").status_code == 302
    with staff.case.store.reading() as session:
        of_kept = select(Component.taken_out_id).where(Component.put_in_id == min(operations_of(staff, kept)))
        assert session.scalars(of_kept).all() == [revised]
    assert undo(staff, nurse, kept).status_code == 302
    with staff.case.store.reading() as session:
        assert session.scalars(of_kept).all() == [None]


@pytest.mark.parametrize("lines_of", [("Ada Maria",), ("Ada", "Ada Maria")])
def test_an_operation_in_both_is_counted_once_whichever_of_them_was_in_the_log(
    staff: StaffCase, nurse: Staff, lines_of: tuple[str, ...]
) -> None:
    enrolled = {name: enrol(staff, name) for name in ("Ada", "Ada Maria")}
    kept = enrolled["Ada"]
    with staff.case.store.writing() as session:
        session.add_all(
            OperationLog(
                surgery_on=years_ago(staff.case, 1), side="left", operation_id=operation_id, made_at=staff.case.now
            )
            for name in lines_of
            for operation_id in operations_of(staff, enrolled[name])
        )
    assert make_one(nurse, kept, "Y-0002").status_code == 302
    assert counted(staff) == [True]
    in_error = {"act": "take", "record-why": "a test"}
    assert nurse.post(f"/patients/{kept}/in-error", in_error).status_code == 302
    assert counted(staff) == [False], "of somebody who is not enrolled there is one line"
    assert nurse.post(f"/patients/{kept}/in-error", {**in_error, "act": "bring"}).status_code == 302
    assert undo(staff, nurse, kept).status_code == 302
    assert counted(staff) == [True, True]
    with staff.case.store.reading() as session:
        linked = set(session.scalars(select(OperationLog.operation_id)))
    assert linked == {each for name in lines_of for each in operations_of(staff, enrolled[name])}


def counted(staff: StaffCase) -> list[bool]:
    with staff.case.store.reading() as session:
        return [line.enrolled for line in read_lines(session)]
