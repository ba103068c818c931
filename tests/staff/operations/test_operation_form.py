"""The one form of an operation: what it shows for a kind, how components come and go on it, and two people at once."""

from datetime import timedelta

import pytest
from sqlalchemy import select

from server.clinic.entries import ShoulderEntry
from server.models import AuditEntry, Component, FieldChange, Gate, Operation, Shoulder
from tests.staff.sent_form import inputs_of, send, send_checked
from tests.staff.staff_case import Staff, StaffCase, years_ago
from tests.staff.tree import read_tree

pytestmark = pytest.mark.parametrize("database_url", ["sqlite"], indirect=True, scope="module")
CODE = "(01)09506000134352(17)301225(10)ABC123(21)S-1"


@pytest.fixture
def surgeon(staff: StaffCase) -> Staff:
    return staff.sign_in("surgeon")


@pytest.fixture
def patient_id(staff: StaffCase) -> int:
    return staff.case.enrol(ShoulderEntry(side="left", surgery_on=years_ago(staff.case, 3), diagnosis="osteoarthritis"))


@pytest.fixture
def planned(staff: StaffCase) -> int:
    return staff.case.enrol(ShoulderEntry(side="left", surgery_planned_on=staff.case.today))


def operations(staff: StaffCase, patient_id: int) -> list[Operation]:
    with staff.case.store.reading() as session:
        of_patient = select(Operation).join(Shoulder).where(Shoulder.patient_id == patient_id)
        return list(session.scalars(of_patient.order_by(Operation.id)))


def components(staff: StaffCase) -> list[Component]:
    with staff.case.store.reading() as session:
        return list(session.scalars(select(Component).order_by(Component.id)))


def edit_path(staff: StaffCase, patient_id: int) -> str:
    return f"/patients/{patient_id}/operations/{operations(staff, patient_id)[0].id}/edit"


def names_on(page: str) -> set[str]:
    return {each.attributes.get("name", "") for each in read_tree(page).all() if each.tag in ("input", "select")}


def test_the_choice_offers_each_shoulder_the_kinds_that_it_can_have(nurse: Staff, patient_id: int) -> None:
    tree = read_tree(nurse.get(f"/patients/{patient_id}/operations/new").text)
    links = [each.attributes.get("href", "") for each in tree.all("a")]
    offered = {tuple(link.split("?")[1].split("&")[:2]) for link in links if "operations/new?" in link}
    left = {("side=left", f"kind={kind}") for kind in ("revision", "conversion", "other", "earlier")}
    assert offered == left | {("side=right", "kind=index"), ("side=right", "kind=earlier")}


def test_a_second_first_operation_is_refused_without_naming_a_field_that_the_page_has_not(
    nurse: Staff, patient_id: int
) -> None:
    first = {"side": "left", "kind": "index", "done": "yes", "act": "save", "surgery_on": "2025-01-02"}
    refused = nurse.post(f"/patients/{patient_id}/operations/new", first)
    assert refused.status_code == 422 and "<li>This shoulder has its first operation. Enter a revision" in refused.text
    assert "#kind" not in refused.text


def test_the_form_shows_only_what_belongs_to_the_kind(nurse: Staff, patient_id: int) -> None:
    def shown(kind: str, done: str) -> set[str]:
        return names_on(nurse.get(f"/patients/{patient_id}/operations/new?side=left&kind={kind}&done={done}").text)

    of_some = {"stage", "reason", "diagnosis", "surgery_planned_on", "n1-lot"}
    assert shown("revision", "yes") & of_some == {"stage", "reason", "n1-lot"}
    assert shown("conversion", "no") & of_some == {"reason", "diagnosis", "surgery_planned_on"}
    assert shown("earlier", "yes") & of_some == {"diagnosis", "n1-lot"}


def test_done_on_this_day_opens_the_form_with_components(staff: StaffCase, nurse: Staff, planned: int) -> None:
    path = edit_path(staff, planned)
    assert f'href="{path}?done=yes"' in nurse.get(f"/patients/{planned}").text
    fields = inputs_of(nurse.get(f"{path}?done=yes").text, path)
    assert fields["surgery_on"] == staff.case.today.isoformat()
    sent = {**fields, "implant_type": "resurfacing_hemi", "n1-role": "head", "n1-model": "Cup 1", "n1-lot": "L-1"}
    assert nurse.post(path, sent).status_code == 302
    assert [(each.role, each.model, each.lot) for each in components(staff)] == [("head", "Cup 1", "L-1")]
    assert operations(staff, planned)[0].surgery_on == staff.case.today
    with staff.case.store.reading() as session:
        assert set(session.scalars(select(Gate.state))) == {"due"}


def test_rows_are_added_and_codes_read_without_a_script(staff: StaffCase, nurse: Staff, patient_id: int) -> None:
    path = edit_path(staff, patient_id)
    first = inputs_of(nurse.get(path).text, path)
    more = nurse.post(path, {**first, "n1-role": "head", "act": "add_row", "surgeon": "Dr Q"})
    assert more.status_code == 200 and components(staff) == []
    two = inputs_of(more.text, path)
    assert (two["n1-role"], two["n2-role"], two["surgeon"]) == ("head", "", "Dr Q")
    # A scanner ends with the Enter key, which sends the form: the code is read and shown before anything is kept.
    read = nurse.post(path, {**two, "n2-role": "liner", "n2-udi": CODE, "act": "save"})
    assert read.status_code == 422 and "The codes were read; nothing is saved yet." in read.text
    filled = inputs_of(read.text, path)
    assert (filled["n2-lot"], filled["n2-serial"], filled["n2-expires_on"]) == ("ABC123", "S-1", "2030-12-25")
    assert nurse.post(path, filled).status_code == 302
    assert [(each.role, each.lot, each.device_identifier) for each in components(staff)] == [
        ("head", None, None),
        ("liner", "ABC123", "09506000134352"),
    ]


def test_a_code_that_says_nothing_is_told_at_its_field(staff: StaffCase, nurse: Staff, patient_id: int) -> None:
    path = edit_path(staff, patient_id)
    answer = send(nurse, path, path, {"n1-role": "head", "n1-udi": "LOT 4711"})
    assert answer.status_code == 422 and "This is no GS1 code" in answer.text
    assert 'id="n1-udi-wrong"' in answer.text and "Component 1, Scanned code (UDI)" in answer.text


def test_a_revision_takes_out_what_was_ticked(staff: StaffCase, nurse: Staff, patient_id: int) -> None:
    path = edit_path(staff, patient_id)
    send(nurse, path, path, {"n1-role": "head", "n1-lot": "L-1"})
    new = f"/patients/{patient_id}/operations/new"
    fields = inputs_of(nurse.get(f"{new}?side=left&kind=revision&done=yes").text, new)
    [out] = [
        name for name in names_on(nurse.get(f"{new}?side=left&kind=revision&done=yes").text) if name.startswith("out-")
    ]
    sent = {**fields, "surgery_on": "2026", out: "yes", "n1-role": "head", "n1-lot": "L-2", "reason": "infection"}
    untold = nurse.post(new, sent | {"further_reasons": ["instability", "other"]})
    assert untold.status_code == 422 and 'id="further_reasons_other-wrong"' in untold.text
    assert nurse.post(new, sent | {"further_reasons": ["instability", "pain"]}).status_code == 302
    first, revision = operations(staff, patient_id)
    assert [(each.put_in_id, each.taken_out_id) for each in components(staff)] == [
        (first.id, revision.id),
        (revision.id, None),
    ]
    assert (revision.surgery_precision, revision.further_reasons) == ("year", "instability,pain")
    # Unticked again, with a reason: it is in the shoulder after all.
    path = f"/patients/{patient_id}/operations/{revision.id}/edit"
    back = {name: text for name, text in inputs_of(nurse.get(path).text, path).items() if name != out}
    refused = nurse.post(path, back)
    assert refused.status_code == 422 and "Write why" in refused.text
    asked = nurse.post(path, {**back, "why": "the cup stayed"})
    assert asked.status_code == 422 and "Nothing is taken out" in asked.text
    sure = {**inputs_of(asked.text, path), "checked": "yes"}
    assert nurse.post(path, sure).status_code == 302
    assert components(staff)[0].taken_out_id is None


def test_a_doubt_is_asked_about_and_kept_once_it_was_checked(staff: StaffCase, nurse: Staff, patient_id: int) -> None:
    path = edit_path(staff, patient_id)
    twice = {"new_rows": "2", "n1-role": "head", "n1-lot": "L-1", "n2-role": "head", "n2-lot": "L-1"}
    asked = send(nurse, path, path, twice)
    assert asked.status_code == 422 and "The lot L-1 is entered twice" in asked.text and components(staff) == []
    again = inputs_of(asked.text, path)
    other = nurse.post(path, {**again, "checked": "yes", "n1-lot": "L-2", "n2-lot": "L-2"})
    assert other.status_code == 422 and "The lot L-2 is entered twice" in other.text, "the tick was for L-1"
    assert nurse.post(path, {**again, "checked": "yes"}).status_code == 302
    with staff.case.store.reading() as session:
        actions = session.scalars(
            select(AuditEntry.action).where(AuditEntry.action == "operation:checked_and_kept")
        ).all()
    assert (len(components(staff)), len(actions)) == (2, 1)
    assert "Checked and kept" in nurse.get(f"/patients/{patient_id}").text


def test_every_error_of_operation_and_components_comes_at_once(nurse: Staff, patient_id: int) -> None:
    new = f"/patients/{patient_id}/operations/new"
    wrong = {"surgery_on": "2031", "procedure": "washout", "reason": "other", "n1-lot": "L-1"}
    answer = send(nurse, f"{new}?side=left&kind=revision&done=yes", new, wrong)
    assert answer.status_code == 422
    assert all(f'id="{name}-wrong"' in answer.text for name in ("surgery_on", "procedure", "reason_other", "n1-role"))


def test_errors_stand_at_their_fields_and_nothing_is_saved(staff: StaffCase, nurse: Staff, patient_id: int) -> None:
    path = edit_path(staff, patient_id)
    tomorrow = (staff.case.today + timedelta(days=1)).isoformat()
    answer = send(nurse, path, path, {"surgery_on": tomorrow, "bmi": "heavy", "why": "mistyped"})
    assert answer.status_code == 422 and 'id="bmi-wrong"' in answer.text
    answer = send(nurse, path, path, {"surgery_on": tomorrow, "why": "mistyped"})
    assert 'id="surgery_on-wrong"' in answer.text and f'value="{tomorrow}"' in answer.text
    assert operations(staff, patient_id)[0].surgery_on == years_ago(staff.case, 3)


def test_another_kind_shows_its_fields_before_anything_is_saved(
    staff: StaffCase, nurse: Staff, patient_id: int
) -> None:
    path = edit_path(staff, patient_id)
    shown = nurse.post(path, {**inputs_of(nurse.get(path).text, path), "kind": "earlier", "act": "show"})
    assert shown.status_code == 200 and inputs_of(shown.text, path)["kind"] == "earlier"
    assert operations(staff, patient_id)[0].kind == "index"


def test_what_another_changed_meanwhile_is_shown_of_operation_and_components_alike(
    staff: StaffCase, nurse: Staff, surgeon: Staff, patient_id: int
) -> None:
    path = edit_path(staff, patient_id)
    send(nurse, path, path, {"n1-role": "head", "n1-lot": "L-1"})
    opened = inputs_of(surgeon.get(path).text, path)
    [lot] = [name for name in opened if name.startswith("c") and name.endswith("-lot")]
    send(nurse, path, path, {"diagnosis": "osteonecrosis", lot: "L-9", "why": "by the report"})
    second = surgeon.post(path, {**opened, "surgeon": "Dr Q", lot: "L-2", "why": "mistyped"})
    assert second.status_code == 422 and "Changed meanwhile. Nothing is saved" in second.text
    assert "became “osteonecrosis”, by Nell Nurse" in second.text and "You entered “L-2”" in second.text
    again = inputs_of(second.text, path)
    assert (again["diagnosis"], again[lot], again["surgeon"]) == ("osteonecrosis", "L-2", "Dr Q")
    assert surgeon.post(path, {**again, f"theirs-{lot}": "yes"}).status_code == 302
    assert (components(staff)[0].lot, operations(staff, patient_id)[0].diagnosis) == ("L-9", "osteonecrosis")


def test_a_correction_stands_in_the_history_with_its_reason(staff: StaffCase, nurse: Staff, patient_id: int) -> None:
    path = edit_path(staff, patient_id)
    assert (
        send(nurse, path, path, {"diagnosis": "osteonecrosis", "dominant": "yes", "why": "the X-ray"}).status_code
        == 302
    )
    page = nurse.get(f"/patients/{patient_id}").text
    assert "Diagnosis: “osteoarthritis” became “osteonecrosis” (the X-ray)" in page
    with staff.case.store.reading() as session:
        tables = set(session.scalars(select(FieldChange.table_name)))
    assert tables == {"operation", "shoulder"}


def test_the_patients_page_tells_components_and_the_time_with_a_spacer(
    staff: StaffCase, nurse: Staff, patient_id: int
) -> None:
    new = f"/patients/{patient_id}/operations/new"

    def enter(kind: str, **fields: str) -> None:
        shown = inputs_of(nurse.get(f"{new}?side=left&kind={kind}&done=yes").text, new)
        assert send_checked(nurse, new, {**shown, **fields}).status_code == 302

    removal, spacer = {"surgery_on": "2026-01-05", "stage": "first_of_two"}, {"n1-role": "spacer", "n1-lot": "S-1"}
    enter("revision", **removal, **spacer, reason="infection", procedure="spacer")
    assert "since 5 January 2026; the second stage is not done" in nurse.get(f"/patients/{patient_id}").text
    enter("second_stage", surgery_on="2026-03-16", procedure="reverse")
    page = nurse.get(f"/patients/{patient_id}").text
    assert page.count("70 days, to the second stage on 16 March 2026") == 2
    assert "Spacer, lot S-1" in page and "first of two stages" in page
    assert "Why it is operated on again" in page


def test_all_that_is_wrong_is_told_in_one_round(staff: StaffCase, nurse: Staff, patient_id: int) -> None:
    path = edit_path(staff, patient_id)
    wrong = {
        "surgery_on": "last year",
        "bmi": "heavy",
        "asa": "9",
        "diagnosis": "other",
        "n1-role": "head",
        "n1-expires_on": "soon",
        "n1-udi": "LOT 4711",
    }
    told = send(nurse, path, path, wrong).text
    for sentence in (
        "is not a day of the calendar",
        "is not a number",
        "needs a word of what it is",
        "This is no GS1 code",
        "Write why",
    ):
        assert sentence in told, sentence
    assert 'id="asa-wrong"' in told and 'id="n1-expires_on-wrong"' in told
    assert "Components are entered once the operation is done" not in told, "the day is not missing, it was not read"
    assert operations(staff, patient_id)[0].diagnosis == "osteoarthritis" and components(staff) == []


def test_all_that_is_wrong_with_a_new_operation_is_told_in_one_round(nurse: Staff, patient_id: int) -> None:
    new = f"/patients/{patient_id}/operations/new"
    wrong = {"surgery_on": "", "bmi": "heavy", "asa": "9", "n1-role": "head", "n1-lot": "L-1"}
    told = send(nurse, f"{new}?side=left&kind=revision&done=yes", new, wrong).text
    assert "Enter the day on which it was done" in told and "is not a number" in told and 'id="asa-wrong"' in told
    assert "Components are entered once the operation is done" not in told
