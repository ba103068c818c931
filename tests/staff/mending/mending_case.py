"""What several tests of this room do: send a form with its reason, and look at what is kept."""

from typing import Any

from sqlalchemy import select
from werkzeug.test import TestResponse

from server.models import FieldChange, FollowUp, Operation, Patient, Response, Shoulder, Timepoint
from server.queries.facts import status_of
from tests.staff.sent_form import inputs_of
from tests.staff.staff_case import Staff, StaffCase

WHY = "the letter said so"


def mend(member: Staff, page: str, action: str = "", **changed: Any) -> TestResponse:
    """Opens the page and sends its form with a reason."""
    inputs = inputs_of(member.get(page).text, action or page)
    reasons_given = {name: WHY for name in inputs if name == "why" or name.endswith("-why")}
    return member.post(action or page, {**inputs, **reasons_given, **changed})


def patient_of(staff: StaffCase, patient_id: int) -> Patient:
    with staff.case.store.reading() as session:
        return session.get_one(Patient, patient_id)


def operations_of(staff: StaffCase, patient_id: int) -> dict[int, str]:
    """Side by operation, of one patient."""
    with staff.case.store.reading() as session:
        rows = session.execute(
            select(Operation.id, Shoulder.side)
            .join(Shoulder)
            .where(Shoulder.patient_id == patient_id)
            .order_by(Operation.id)
        )
        return {row.id: row.side for row in rows}


def timepoint_of(staff: StaffCase, patient_id: int, code: str, *, revision: bool | None = None) -> Timepoint:
    """`revision`: of two with that code, the one of the revision, or the other."""
    with staff.case.store.reading() as session:
        found = select(Timepoint).where(Timepoint.patient_id == patient_id, Timepoint.code == code)
        if revision is not None:
            joined = found.join(FollowUp, FollowUp.id == Timepoint.follow_up_id).join(
                Operation, Operation.id == FollowUp.operation_id
            )
            found = joined.where((Operation.kind == "revision") == revision)
        return session.scalars(found).one()


def status(staff: StaffCase, timepoint_id: int) -> str:
    with staff.case.store.reading() as session:
        return str(status_of(session.get_one(Timepoint, timepoint_id), staff.case.today))


def response_of(staff: StaffCase, response_id: int) -> Response:
    with staff.case.store.reading() as session:
        return session.get_one(Response, response_id)


def reasons(staff: StaffCase) -> list[tuple[str, str | None, str | None, str | None]]:
    """Every change with field, old, new and reason, the first first."""
    with staff.case.store.reading() as session:
        rows = session.scalars(select(FieldChange).order_by(FieldChange.id))
        return [(row.field, row.old, row.new, row.why) for row in rows]
