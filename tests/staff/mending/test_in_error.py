"""What was entered in error: one page marks an operation or the whole record, no file has it, and the same page brings it back."""

from pathlib import Path

import pytest
from sqlalchemy import select

from server.clinic.entries import ShoulderEntry
from server.exports import export_set
from server.models import Component, Gate
from tests.staff.mending.mending_case import WHY, operations_of, reasons
from tests.staff.sent_form import send, send_checked
from tests.staff.staff_case import Staff, StaffCase, years_ago

pytestmark = pytest.mark.parametrize("database_url", ["sqlite"], indirect=True, scope="module")


@pytest.fixture
def ada(staff: StaffCase) -> int:
    both = [ShoulderEntry(side=side, surgery_on=years_ago(staff.case, 1)) for side in ("left", "right")]
    patient_id = staff.case.enrol(*both, study_number="Y-0007")
    with staff.case.store.writing() as session:
        for operation_id in operations_of(staff, patient_id):
            session.add(Component(put_in_id=operation_id, role="head", lot="L-1", made_at=staff.case.now))
    return patient_id


def files(staff: StaffCase, folder: Path) -> dict[str, str]:
    """Every file of an export by its name."""
    runtime = staff.case.runtime
    export_set(staff.case.store, runtime.keys.patient_cipher, runtime.library, folder, now=staff.case.now)
    return {each.name: each.read_text(encoding="utf-8") for each in folder.glob("*.csv")}


def mark(nurse: Staff, page: str, form: str, act: str) -> None:
    assert nurse.post(page, {"act": act, f"{form}-why": ""}).status_code == 422, "never without a reason"
    assert nurse.post(page, {"act": act, f"{form}-why": WHY}).status_code == 302


def test_an_operation_in_error_is_in_no_file_and_comes_back_as_it_was(
    staff: StaffCase, nurse: Staff, ada: int, tmp_path: Path
) -> None:
    left = next(each for each, side in operations_of(staff, ada).items() if side == "left")
    page, before = f"/patients/{ada}/operations/{left}/in-error", files(staff, tmp_path / "before")
    mark(nurse, page, f"operation-{left}", "take")
    without = files(staff, tmp_path / "without")
    for name in ("operations.csv", "schedule.csv", "wide.csv", "components.csv", "flow.csv", "log.csv"):
        assert ",left," in before[name] and ",left," not in without[name] and ",right," in without[name], name
    told = nurse.get(f"/patients/{ada}/in-error").text
    assert "in error since 15 June 2026" in told and "It was no error after all" in told
    assert told.count(f"Why: {WHY}.") == 1, "beside what is marked"
    assert f"Entered in error ({WHY})" in nurse.get(f"/patients/{ada}").text, "the history says why"
    assert nurse.get(f"/patients/{ada}/operations/{left}/edit").status_code == 404
    mark(nurse, page, f"operation-{left}", "bring")
    assert files(staff, tmp_path / "after") == before
    assert [each[0] for each in reasons(staff) if each[3] == WHY] == ["taken_back_at"] * 2


def test_what_was_marked_is_named_after_the_act(staff: StaffCase, nurse: Staff, ada: int) -> None:
    left = next(each for each, side in operations_of(staff, ada).items() if side == "left")
    page, here = f"/patients/{ada}/operations/{left}/in-error", f"/patients/{ada}/in-error"
    first = "Left shoulder, first operation of 15 June 2025"
    acts = [("take", page, f"operation-{left}"), ("bring", page, f"operation-{left}"), ("take", here, "record")]
    told = [
        nurse.get(nurse.post(at, {"act": act, f"{form}-why": WHY}).location).text
        for act, at, form in (*acts, ("bring", here, "record"))
    ]
    said = [f"{first}: marked as entered in error, and counts nowhere. Your reason", f"{first}: counts again."]
    said += ["The whole record: marked as entered in error, and counts nowhere.", "The whole record: counts again."]
    assert [words in text for words, text in zip(said, told, strict=True)] == [True] * 4
    assert [f"Why: {WHY}." in text for text in told] == [True, False, True, False]
    assert [f"/patients/{ada}#history" in text for text in told] == [True] * 4


def test_a_record_in_error_is_in_no_file_no_list_and_found_by_its_number_alone(
    staff: StaffCase, nurse: Staff, ada: int, tmp_path: Path
) -> None:
    staff.case.enrol(first_name="Bela", study_number="Y-0008")
    page, before = f"/patients/{ada}/in-error", files(staff, tmp_path / "before")
    mark(nurse, page, "record", "take")
    without = files(staff, tmp_path / "without")
    assert [name for name, text in sorted(before.items()) if "Y-0007" in text]
    assert [name for name, text in without.items() if "Y-0007" in text] == []
    assert "Y-0008" in without["operations.csv"]
    for lists in ("/patients", "/patients?q=Ada", "/today", "/components?lot=L-1"):
        assert "Y-0007" not in nurse.get(lists).text, lists
    assert nurse.get("/patients?q=Y-0007").location == f"/patients/{ada}", "to bring it back it is found whole"
    told = nurse.get(f"/patients/{ada}").text
    assert "Enrolled in error, so marked on" in told
    assert "Write down a visit</a></li>" not in told, "nothing is entered of a record that counts nowhere"
    mark(nurse, page, "record", "bring")
    assert files(staff, tmp_path / "after") == before


def test_the_link_of_a_record_in_error_ends_and_opens_again_with_it(staff: StaffCase, nurse: Staff, ada: int) -> None:
    token, page = staff.case.phone(ada).token, f"/patients/{ada}/in-error"
    mark(nurse, page, "record", "take")
    assert gates(staff) == ["ended"]
    left = {"reason": "died", "leave-on": staff.case.today.isoformat(), "sure": "yes"}
    told = {"died_source": "gp", "died_certainty": "confirmed"}
    leave = f"/patients/{ada}/leave"
    assert send(nurse, f"{leave}?what=died", leave, {**left, **told}).status_code == 302
    assert send(nurse, leave, f"{leave}/died", {"died-why": WHY}).status_code == 302
    assert gates(staff) == ["ended"], "nobody died, and the record is an error all the same"
    mark(nurse, page, "record", "bring")
    phone = staff.case.phone(ada)
    assert gates(staff) == ["due"] and phone.token == token and phone.fetch()[0] == 200


def gates(staff: StaffCase) -> list[str]:
    with staff.case.store.reading() as session:
        return list(session.scalars(select(Gate.state)))


def test_what_later_operations_build_on_is_refused_in_words(staff: StaffCase, nurse: Staff, ada: int) -> None:
    left = next(each for each, side in operations_of(staff, ada).items() if side == "left")
    revision = {
        "side": "left",
        "kind": "revision",
        "done": "yes",
        "surgery_on": staff.case.today.isoformat(),
    }
    assert send_checked(nurse, f"/patients/{ada}/operations/new", revision).status_code == 302
    fields = {"act": "take", f"operation-{left}-why": WHY}
    refused = nurse.post(f"/patients/{ada}/operations/{left}/in-error", fields)
    assert refused.status_code == 422 and "Later operations on this shoulder build on this one" in refused.text
    assert nurse.post(f"/patients/{ada}/in-error", {"act": "erase"}).status_code == 400
