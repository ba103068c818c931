"""A followed shoulder for pages that speak of change, and answers to an instrument that no plan asks."""

from collections.abc import Mapping
from datetime import timedelta

from server.clinic.enrol import add_operation
from server.clinic.entries import ShoulderEntry
from server.forms.stored import StoredAnswer, StoredAnswers, StoredPart, open_answers, seal_answers
from server.intake.scores import scores_of
from server.models import Patient, Response, Score
from server.timepoints.generate import refresh_timepoints
from server.timepoints.plans import shipped_plans
from tests.operated import done_on
from tests.staff.staff_case import StaffCase
from tests.staff.tree import Node, read_tree
from tests.staff.visited import open_timepoint

PLAN = "standard@1"
Values = Mapping[str, int]


def sheet(count: int, **others: int) -> dict[str, int]:
    """A shoulder test with so many times yes; `pain`, `sane` and `own` (the acceptable state) beside it."""
    names = {"pain": "pain@1/1", "sane": "sane@1/1", "own": "pass@1/1"}
    answers = {f"sst@1/{item}": int(item <= count) for item in range(1, 13)}
    return answers | {names[name]: value for name, value in others.items()}


def followed(staff: StaffCase, before: Values | None, *yearly: Values, side: str = "left") -> int:
    """The id of a patient: the form before surgery if there is one, surgery, then one form a year."""
    case = staff.case
    planned = case.today + timedelta(days=10)
    patient_id = case.enrol(ShoulderEntry(side=side, surgery_planned_on=planned))
    if before is not None:
        staff.answer(open_timepoint(staff, patient_id, "baseline"), dict(before), on=case.today)
    operate(staff, patient_id)
    for year, values in enumerate(yearly, 1):
        go_on(staff, patient_id, days=355 if year == 1 else 365)
        staff.answer(open_timepoint(staff, patient_id, f"year-{year}"), dict(values), on=case.today)
    return patient_id


def revised(staff: StaffCase, patient_id: int, before: Values, after: Values | None = None) -> None:
    """A revision of the patient's shoulder in ten days, with a form before it; with another, done, and that one a year after it."""
    case = staff.case
    go_on(staff, patient_id, days=100)  # within 90 days of another form the revision's own would not be sent
    with case.store.writing() as session:
        patient = session.get_one(Patient, patient_id)
        entry = ShoulderEntry(
            side=patient.shoulders[0].side, kind="revision", surgery_planned_on=case.today + timedelta(days=10)
        )
        add_operation(session, patient, entry, plan=shipped_plans()[PLAN], now=case.now, today=case.today, by_id=None)
    staff.answer(open_timepoint(staff, patient_id, "baseline"), dict(before), on=case.today)
    if after is None:
        return
    operate(staff, patient_id)
    go_on(staff, patient_id, days=355)
    with case.store.reading() as session:
        last = session.get_one(Patient, patient_id).shoulders[0].operations[-1]
        timepoint_id = next(each.id for each in last.follow_ups[0].timepoints if each.code == "year-1")
    staff.answer(timepoint_id, dict(after), on=case.today)


def operate(staff: StaffCase, patient_id: int) -> None:
    """Eleven days later the planned operation is entered as done."""
    case = staff.case
    case.now += timedelta(days=11)
    with case.store.writing() as session:
        operation = session.get_one(Patient, patient_id).shoulders[0].operations[-1]
        assert operation.surgery_planned_on is not None
        done_on(session, operation, operation.surgery_planned_on, now=case.now, today=case.today)


def go_on(staff: StaffCase, patient_id: int, *, days: int) -> None:
    case = staff.case
    case.now += timedelta(days=days)
    with case.store.writing() as session:
        for operation in session.get_one(Patient, patient_id).shoulders[0].operations:
            for follow_up in operation.follow_ups:
                refresh_timepoints(session, follow_up, shipped_plans()[PLAN], now=case.now, today=case.today)


def last_response(staff: StaffCase, patient_id: int) -> int:
    with staff.case.store.reading() as session:
        found = session.query(Response.id).filter(Response.patient_id == patient_id).order_by(Response.id.desc())
        return int(found.first()[0])  # type: ignore[index]


def add_part(staff: StaffCase, response_id: int, spec: str, answers: Mapping[str, int | str]) -> None:
    """As if the form had asked this instrument too. A number is an answer, a word the state of an item without one."""
    runtime = staff.case.runtime
    given = {
        item: StoredAnswer("answered", each) if isinstance(each, int) else StoredAnswer(each)
        for item, each in answers.items()
    }
    part = StoredPart(spec, f"{spec}/en/descriptive-1", given)
    with staff.case.store.writing() as session:
        response = session.get_one(Response, response_id)
        cipher = runtime.keys.patient_cipher(session.get_one(Patient, response.patient_id).handle)
        before = open_answers(response.answers, cipher)
        response.answers = seal_answers(StoredAnswers((*before.parts, part)), cipher)
        for each in scores_of(StoredAnswers((part,)), runtime.library):
            session.add(Score(response_id=response_id, scored_at=staff.case.now, **each._asdict()))


def page_of(staff: StaffCase, path: str) -> Node:
    staff.signed_in.clear()  # the clock may have moved past the end of a session
    answer = staff.sign_in("surgeon").get(path)
    assert answer.status_code == 200, path
    return read_tree(answer.text)
