"""The log of who is not enrolled: a line in ten seconds, corrected, taken back, enrolled without doubling; and coverage from it."""

import pytest
from sqlalchemy import select

from server.clinic.entries import ShoulderEntry
from server.models import FieldChange, Operation, OperationLog
from server.queries.coverage import read_lines
from tests.staff.sent_form import inputs_of
from tests.staff.staff_case import Staff, StaffCase, years_ago

pytestmark = pytest.mark.parametrize("database_url", ["sqlite"], indirect=True, scope="module")


def line_of(staff: StaffCase, **fields: str) -> dict[str, str]:
    return {
        "surgery_on": staff.case.today.isoformat(),
        "side": "right",
        "procedure": "reverse",
        "implant_type": "reverse",
        "surgeon": "Dr Quillhurst",
        "birth_year": "1948",
        "not_enrolled_reason": "declined",
        **fields,
    }


def lines(staff: StaffCase) -> list[tuple[bool, str | None]]:
    with staff.case.store.reading() as session:
        return [(line.enrolled, line.reason) for line in read_lines(session)]


def test_a_line_is_written_down_and_the_next_one_is_ready(staff: StaffCase, nurse: Staff) -> None:
    written = nurse.post("/log", line_of(staff))
    assert written.status_code == 302
    form = inputs_of(nurse.get(written.location).text, "/log")
    assert (form["surgeon"], form["surgery_on"], form["birth_year"]) == (
        "Dr Quillhurst",
        staff.case.today.isoformat(),
        "",
    )
    assert lines(staff) == [(False, "declined")]


@pytest.mark.parametrize(
    ("changed", "said"),
    [
        ({"surgery_on": "2099-01-01"}, "is after today"),
        ({"side": ""}, "Choose one of: left, right"),
        ({"not_enrolled_reason": ""}, "Choose one of"),
        ({"not_enrolled_reason": "other"}, "needs a word of what it is"),
        ({"birth_year": "2099"}, "is after the operation"),
        ({"procedure": "magic"}, "Choose one of"),
    ],
)
def test_a_line_that_cannot_be_is_refused_in_words(
    staff: StaffCase, nurse: Staff, changed: dict[str, str], said: str
) -> None:
    refused = nurse.post("/log", line_of(staff, **changed))
    assert refused.status_code == 422 and said in refused.text
    assert lines(staff) == []


def test_a_line_is_corrected_with_a_reason_and_taken_back(staff: StaffCase, nurse: Staff) -> None:
    nurse.post("/log", line_of(staff))
    assert "Entered in error" not in nurse.get("/log").text
    shown = inputs_of(nurse.get("/log/1").text, "/log/1")
    assert nurse.post("/log/1", {**shown, "not_enrolled_reason": "language", "why": ""}).status_code == 422
    assert nurse.post("/log/1", {**shown, "not_enrolled_reason": "language", "why": "misread"}).status_code == 302
    assert lines(staff) == [(False, "language")]
    assert nurse.post("/log/1/in-error", {"act": "take", "why_back": "twice"}).status_code == 302
    assert lines(staff) == []
    assert "Entered in error, counted nowhere" in (page := nurse.get("/log").text) and "/log/1" in page
    assert nurse.post("/log/1/in-error", {"act": "bring", "why_back": "not twice"}).status_code == 302
    assert lines(staff) == [(False, "language")]


def test_who_is_enrolled_after_all_is_counted_once(staff: StaffCase, nurse: Staff) -> None:
    nurse.post("/log", line_of(staff))
    form = inputs_of(nurse.get("/patients/new?log=1").text, "/patients/new")
    assert (form["right_surgery_on"], form["right_surgeon"], form["log"]) == (
        staff.case.today.isoformat(),
        "Dr Quillhurst",
        "1",
    )
    person = {"first_name": "Bela", "last_name": "Brook", "birth_on": "1948-02-03", "email": "b@example.org"}
    assert nurse.post("/patients/new", {**form, **person}).status_code == 302
    assert lines(staff) == [(True, None)]
    with staff.case.store.reading() as session:
        operation = session.scalars(select(Operation)).one()
        assert operation.surgeon == "Dr Quillhurst"
        line = session.scalars(select(OperationLog).where(OperationLog.not_enrolled_reason.is_not(None))).one()
        assert line.operation_id == operation.id
        kept = select(FieldChange).where(FieldChange.table_name == "operation_log", FieldChange.row_id == line.id)
        [change] = session.scalars(kept).all()
        assert (change.field, change.old, change.new) == ("operation_id", None, str(operation.id))
    assert nurse.get("/log/1").status_code == 404


def test_a_line_of_somebody_enrolled_already_gives_way_to_their_operation(staff: StaffCase, nurse: Staff) -> None:
    done_on = years_ago(staff.case, 1)
    staff.case.enrol(ShoulderEntry(side="right", surgery_on=done_on))
    nurse.post("/log", line_of(staff, surgery_on=done_on.isoformat()))
    with staff.case.store.reading() as session:
        line_id = session.scalars(select(OperationLog.id).where(OperationLog.operation_id.is_(None))).one()
    refused = nurse.post(f"/log/{line_id}/enrolled", {"study_number": "Y-9999"})
    assert refused.status_code == 422 and "no operation of that day" in refused.text


def test_a_line_whose_enrolment_was_the_error_is_linked_to_the_right_one(staff: StaffCase, nurse: Staff) -> None:
    done_on = years_ago(staff.case, 1)
    wrong = staff.case.enrol(ShoulderEntry(side="right", surgery_on=done_on))
    nurse.post("/log", line_of(staff, surgery_on=done_on.isoformat()))
    with staff.case.store.reading() as session:
        line_id = session.scalars(select(OperationLog.id)).one()
    page = f"/log/{line_id}"
    assert nurse.post(f"{page}/enrolled", {"study_number": "Y-0001"}).status_code == 302
    assert nurse.get(page).status_code == 404 and lines(staff) == [(True, None)]
    assert nurse.post(f"/patients/{wrong}/in-error", {"act": "take", "record-why": "a test"}).status_code == 302
    assert nurse.get(page).status_code == 200 and lines(staff) == [(False, "declined")]
    staff.case.enrol(ShoulderEntry(side="right", surgery_on=done_on), first_name="Bela")
    assert nurse.post(f"{page}/enrolled", {"study_number": "Y-0002"}).status_code == 302
    assert lines(staff) == [(True, None)]


def test_coverage_counts_what_was_done_here_and_says_why_the_others_are_not_enrolled(
    staff: StaffCase, nurse: Staff
) -> None:
    assert "No operation is recorded yet" in nurse.get("/coverage").text
    staff.case.enrol(ShoulderEntry(side="left", surgery_on=years_ago(staff.case, 1), surgeon="Dr Quillhurst"))
    elsewhere = ShoulderEntry(
        side="left", surgery_on=years_ago(staff.case, 1), place="elsewhere", place_name="Another clinic"
    )
    earlier = ShoulderEntry(side="right", kind="earlier", surgery_on=years_ago(staff.case, 9), procedure="cuff_repair")
    staff.case.enrol(elsewhere, first_name="Bela")
    staff.case.enrol(earlier, first_name="Cleo")  # where is not recorded
    nurse.post("/log", line_of(staff))
    told = nurse.get("/coverage").text
    assert "1 of 2 operations done here are enrolled" in told
    assert "50&nbsp;%" in told and "Asked, does not want to" in told


def test_the_log_says_on_which_basis_it_is_kept_as_the_settings_state_it(staff: StaffCase, nurse: Staff) -> None:
    unsaid = nurse.get("/log").text
    assert "such as a law or an ethics vote, is not written down yet" in unsaid
    assert "in Settings, under “Basis of the operation log”" in unsaid
    manager = staff.sign_in("data_manager")
    form = inputs_of(manager.get("/settings").text, "/settings")
    assert manager.post("/settings", {**form, "log_basis": "Hospital act, § 12"}).status_code == 302
    told = nurse.get("/log").text
    assert "may be kept: Hospital act, § 12" in told and "not written down yet" not in told


def test_a_line_that_says_the_same_as_another_is_asked_about_once(staff: StaffCase, nurse: Staff) -> None:
    assert nurse.post("/log", line_of(staff)).status_code == 302
    asked = nurse.post("/log", line_of(staff))
    assert asked.status_code == 422 and "entered twice?" in asked.text and len(lines(staff)) == 1
    sent = {**inputs_of(asked.text, "/log"), "checked": "yes"}
    assert nurse.post("/log", sent).status_code == 302 and len(lines(staff)) == 2
    assert nurse.post("/log", line_of(staff, birth_year="1949")).status_code == 302
