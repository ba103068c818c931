"""Two records of one person are made one after a look at both, and the merge is undone; twins, couples and other birth years are told."""

from datetime import date, timedelta
from typing import Any

import pytest
from sqlalchemy import select

from server.clinic.entries import ShoulderEntry
from server.clinic.merge_plan import plan_merge, stricter
from server.forms.stored import open_answers
from server.models import Consent, Patient, PatientMerge, Response, Timepoint
from tests.staff.mending.mending_case import mend, operations_of, patient_of, response_of, status, timepoint_of
from tests.staff.staff_case import Staff, StaffCase, years_ago
from tests.stranger import best

on_sqlite = pytest.mark.parametrize("database_url", ["sqlite"], indirect=True, scope="module")


def left(staff: StaffCase, years: int = 1) -> ShoulderEntry:
    return ShoulderEntry(side="left", surgery_on=years_ago(staff.case, years), implant_type="reverse")


def right(staff: StaffCase, years: int = 1) -> ShoulderEntry:
    return ShoulderEntry(side="right", surgery_on=years_ago(staff.case, years))


def make_one(nurse: Staff, kept: int, alias: str, **changed: Any) -> Any:
    page = f"/patients/{kept}/same-person"
    return mend(nurse, f"{page}?other={alias}", page, **{"sure": "yes", **changed})


def undo(staff: StaffCase, nurse: Staff, kept: int) -> Any:
    with staff.case.store.reading() as session:
        made = session.scalars(select(PatientMerge.id)).one()
    return mend(nurse, f"/patients/{kept}/same-person", f"/patients/{kept}/same-person/{made}/undo")


def opens(staff: StaffCase, response_id: int, patient_id: int) -> bool:
    with staff.case.store.reading() as session:
        handle = session.get_one(Patient, patient_id).handle
        response = session.get_one(Response, response_id)
        return bool(open_answers(response.answers, staff.case.runtime.keys.patient_cipher(handle)).parts)


def snapshot(staff: StaffCase) -> list[Any]:
    """What belongs to whom, and how each form stands."""
    with staff.case.store.reading() as session:
        rows = session.scalars(select(Timepoint).order_by(Timepoint.id)).all()
        forms = [(row.id, row.patient_id, row.form_id, row.answered_on, row.same_as_id) for row in rows]
        answers = session.execute(
            select(Response.id, Response.patient_id, Response.timepoint_id, Response.counted).order_by(Response.id)
        ).all()
        consents = session.execute(
            select(Consent.id, Consent.patient_id, Consent.withdrawn_on).order_by(Consent.id)
        ).all()
        people = session.scalars(select(Patient.id).order_by(Patient.id)).all()
    operations = [operations_of(staff, each) for each in people]
    return [forms, [tuple(row) for row in answers], [tuple(row) for row in consents], operations]


def test_a_second_record_with_the_other_shoulder_is_merged_and_the_merge_undone(staff: StaffCase, nurse: Staff) -> None:
    kept, alias = staff.case.enrol(left(staff)), staff.case.enrol(right(staff), first_name="Ada Maria")
    old_link = staff.case.phone(alias)
    old_link.fetch()
    response_id = staff.answer(timepoint_of(staff, alias, "year-1").id, {"pain@1/1": 3}, on=staff.case.today)
    before = snapshot(staff)
    page = f"/patients/{kept}/same-person"
    shown = nurse.get(f"{page}?other=Y-0002").text
    assert "probably one person" in shown and "of the right shoulder moves to the kept record" in shown
    unsure = mend(nurse, f"{page}?other=Y-0002", page)
    assert unsure.status_code == 422 and "tick that they are one person" in unsure.text
    assert make_one(nurse, kept, "Y-0002").location == f"/patients/{kept}?done=merged"
    assert set(operations_of(staff, kept).values()) == {"left", "right"} and operations_of(staff, alias) == {}
    assert response_of(staff, response_id).patient_id == kept and opens(staff, response_id, kept)
    assert nurse.get("/patients?q=Y-0002").location == f"/patients/{kept}"
    assert old_link.fetch()[0] == 200  # the alias's link opens what the kept patient has due
    assert [form["side"] for form in old_link.sheet["forms"]] == ["left"]
    assert undo(staff, nurse, kept).location == f"/patients/{kept}?done=merge-undone"
    assert snapshot(staff) == before and opens(staff, response_id, alias)
    assert patient_of(staff, alias).merged_into_id is None
    with staff.case.store.reading() as session:
        row = session.scalars(select(PatientMerge)).one()
        assert (row.why, row.undone_why, row.undone_at) == ("the letter said so", "the letter said so", staff.case.now)


def test_one_operation_in_both_records_is_asked_about_once_and_either_link_brings_its_answer(
    staff: StaffCase, nurse: Staff
) -> None:
    case = staff.case
    kept, alias = case.enrol(left(staff)), case.enrol(left(staff), first_name="Ada Maria")
    phone = case.phone(alias)
    phone.fetch()
    before = snapshot(staff)
    assert "is in both" in nurse.get(f"/patients/{kept}/same-person?other=Y-0002").text
    assert make_one(nurse, kept, "Y-0002").status_code == 302
    [form] = phone.sheet["forms"]
    assert [each["status"] for each in phone.send(phone.seal(phone.payload(form, best, case.now)))] == ["stored"]
    assert case.process().recorded == 1
    year = timepoint_of(staff, kept, "year-1").id
    with case.store.reading() as session:
        response = session.scalars(select(Response)).one()
        assert (response.patient_id, response.timepoint_id, response.counted) == (kept, year, True)
    assert opens(staff, response.id, kept) and status(staff, year) in ("answered", "late")
    assert undo(staff, nurse, kept).status_code == 302
    with case.store.reading() as session:
        assert session.scalars(select(Timepoint.same_as_id).where(Timepoint.same_as_id.is_not(None))).all() == []
    assert len(before[0]) == len(snapshot(staff)[0])


@on_sqlite
def test_the_stricter_consent_and_a_lasting_wish_survive(staff: StaffCase, nurse: Staff) -> None:
    kept = staff.case.enrol(left(staff), consents=("contact", "research"))
    alias = staff.case.enrol(right(staff), consents=("contact",), first_name="Ada Maria")
    leave = {
        "reason": "withdrew",
        "leave-on": staff.case.today.isoformat(),
        "sure": "yes",
        "extent": "contact",
        "by": "self",
    }
    nurse.post(f"/patients/{alias}/leave", leave)
    shown = nurse.get(f"/patients/{kept}/same-person?other=Y-0002").text
    assert "takes over the withdrawal" in shown and "The consent to use for research ends" in shown
    assert make_one(nurse, kept, "Y-0002").status_code == 302
    now = patient_of(staff, kept)
    assert (now.withdrew_on, now.withdrawal_extent) == (staff.case.today, "contact")
    with staff.case.store.reading() as session:
        standing = select(Consent.kind).where(Consent.patient_id == kept, Consent.withdrawn_on.is_(None))
        assert session.scalars(standing).all() == []
    assert undo(staff, nurse, kept).status_code == 302
    assert patient_of(staff, kept).withdrew_on is None and patient_of(staff, alias).withdrew_on == staff.case.today
    with staff.case.store.reading() as session:
        assert sorted(session.scalars(standing)) == ["contact", "research"]
    nurse.post(f"/patients/{kept}/leave", {**leave, "extent": "messages"})
    shown = nurse.get(f"/patients/{alias}/same-person?other=Y-0001").text
    assert "takes over the withdrawal: no more contact" in shown, "the farther wish holds, whichever record has it"


def test_of_two_wishes_the_earlier_day_holds() -> None:
    wishes = ("withdrew_on", "messages_stopped_on", "records_closed_on", "erasure_asked_on", "capacity_lost_on")
    later, earlier = Patient(died_on=date(2026, 3, 1)), Patient(died_on=date(2026, 1, 1), died_precision="year")
    for name in wishes:
        setattr(later, name, date(2026, 2, 1))
        setattr(earlier, name, date(2026, 1, 5))
    assert stricter(later, earlier) == dict.fromkeys(wishes, date(2026, 1, 5)), "the kept death stays whole"
    assert stricter(earlier, later) == {}


@on_sqlite
def test_a_death_known_to_its_year_agrees_with_any_day_of_that_year(staff: StaffCase) -> None:
    kept, alias = staff.case.enrol(left(staff)), staff.case.enrol(right(staff, 2), first_name="Ada Maria")
    operated = years_ago(staff.case, 1)
    with staff.case.store.writing() as session:
        there, here = session.get_one(Patient, kept), session.get_one(Patient, alias)
        here.died_on, here.died_precision = date(operated.year, 1, 1), "year"
        plan = plan_merge(session, there, here)
        assert (plan.refused, plan.ends["died_on"], plan.ends["died_precision"]) == ([], operated, "year")
        there.died_on = date(operated.year, 12, 3)
        plan = plan_merge(session, there, here)
        assert (plan.refused, "died_precision" in plan.ends) == ([], False)
        there.died_on = date(operated.year + 1, 1, 2)
        assert plan_merge(session, there, here).refused


@on_sqlite
def test_another_birth_year_is_asked_about_once_and_recorded(staff: StaffCase, nurse: Staff) -> None:
    kept = staff.case.enrol(left(staff))
    staff.case.enrol(right(staff), birth_on=date(1925, 2, 28), first_name="Eve", email="eve@patient.example")
    shown = nurse.get(f"/patients/{kept}/same-person?other=Y-0002").text
    assert "The birth years are 1952 and 1925" in shown and "not alike" in shown
    refused = make_one(nurse, kept, "Y-0002")
    assert refused.status_code == 422 and "born in different years" in refused.text
    assert make_one(nurse, kept, "Y-0002", other_birth_year="yes").status_code == 302
    with staff.case.store.reading() as session:
        assert session.scalars(select(PatientMerge.other_birth_year)).all() == [True]
    assert "Their birth years differ; that was asked about." in nurse.get(f"/patients/{kept}/same-person").text


@on_sqlite
@pytest.mark.parametrize(
    ("changed", "said"),
    [
        ({"first_name": "Berta"}, "perhaps twins"),
        ({"first_name": "Carlos", "birth_on": date(1952, 5, 6)}, "perhaps a couple"),
    ],
)
def test_twins_and_couples_are_shown_as_such(
    staff: StaffCase, nurse: Staff, changed: dict[str, Any], said: str
) -> None:
    kept = staff.case.enrol(left(staff))
    staff.case.enrol(right(staff), **changed)
    assert said in nurse.get(f"/patients/{kept}/same-person?other=Y-0002").text


@on_sqlite
def test_dates_that_cross_and_two_first_operations_are_refused_in_words(staff: StaffCase, nurse: Staff) -> None:
    kept, alias = staff.case.enrol(left(staff, 3)), staff.case.enrol(left(staff, 1), right(staff, 1))
    died = (years_ago(staff.case, 2)).isoformat()
    told = {"died_source": "gp", "died_certainty": "confirmed"}
    nurse.post(f"/patients/{kept}/leave", {"reason": "died", "leave-on": died, "sure": "yes", **told})
    shown = nurse.get(f"/patients/{kept}/same-person?other=Y-0002").text
    assert (
        "was operated on after that day" in shown
        and "Both records have a first operation of the left shoulder" in shown
    )
    assert "Make them one" not in shown
    refused = nurse.post(f"/patients/{kept}/same-person", {"other": "Y-0002", "sure": "yes", "merge-why": "x"})
    assert refused.status_code == 422 and patient_of(staff, alias).merged_into_id is None


@on_sqlite
def test_what_is_done_after_the_merge_goes_where_it_belongs_at_the_undo(staff: StaffCase, nurse: Staff) -> None:
    kept, alias = staff.case.enrol(left(staff)), staff.case.enrol(right(staff), first_name="Ada Maria")
    make_one(nurse, kept, "Y-0002")
    with staff.case.store.reading() as session:
        theirs = [
            row.id for row in session.scalars(select(Timepoint)) if row.follow_up.operation.shoulder.side == "right"
        ]
        form = session.scalars(select(Timepoint.id).where(Timepoint.id.in_(theirs), Timepoint.code == "year-1")).one()
    response_id = staff.answer(form, {}, on=staff.case.today)
    assert response_of(staff, response_id).patient_id == kept
    number = {"issuer": "Harbour", "number": "99"}
    nurse.post(f"/patients/{kept}/numbers", number)
    assert undo(staff, nurse, kept).status_code == 302
    assert response_of(staff, response_id).patient_id == alias and opens(staff, response_id, alias)
    assert nurse.get("/patients?q=99").location == f"/patients/{kept}"


@on_sqlite
def test_an_enrolment_of_somebody_alike_says_what_they_have_in_common(staff: StaffCase, nurse: Staff) -> None:
    staff.case.enrol(left(staff))
    form = {
        "first_name": "Bert", "last_name": "Other", "birth_on": "1950-01-02", "right_shoulder": "yes", "language": "en",
        "right_surgery_on": (staff.case.today - timedelta(days=9)).isoformat(), "channel_order": "email", "email": "ada@patient.example",
    }  # fmt: skip
    answer = nurse.post("/patients/new", form)
    assert answer.status_code == 422 and "Somebody near is already enrolled" in answer.text
    assert "the same telephone number or e-mail address, another person" in answer.text
    assert nurse.post("/patients/new", {**form, "not_a_duplicate": "yes"}).status_code == 302


@on_sqlite
def test_a_record_that_was_enrolled_in_error_is_merged_with_none(staff: StaffCase, nurse: Staff) -> None:
    kept, other = staff.case.enrol(left(staff)), staff.case.enrol(right(staff), first_name="Ada Maria")
    assert nurse.post(f"/patients/{other}/in-error", {"act": "take", "record-why": "a trial"}).status_code == 302
    page = f"/patients/{kept}/same-person"
    assert "was enrolled in error" in nurse.get(f"{page}?other=Y-0002").text
    assert nurse.post(page, {"other": "Y-0002", "sure": "yes", "merge-why": "x"}).status_code == 422
    assert patient_of(staff, other).merged_into_id is None
