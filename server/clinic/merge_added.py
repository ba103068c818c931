"""What was added while two records were one and hangs on the shoulders and operations that an undo gives back: it goes with them.

Where a whole shoulder goes back, so does all that lies on it. Where single operations do, since the kept record had that shoulder too,
what was added goes with the operation on which it hangs: by its components or its first stage; else by what was done last on that
shoulder by its day.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date
from typing import Any

from sqlalchemy import select
from sqlalchemy.orm import Session

from server.clinic.contradiction import refuse_if
from server.clinic.operations import first_free_position
from server.models import ClinicEvent, ClinicFinding, KnownStatus, Operation, PatientMerge, Shoulder
from server.queries.events import events_after


@dataclass(frozen=True)
class Added:
    """What goes to one shoulder of the other record, beside the operations that the undo moves itself."""

    home_id: int
    operations: list[Operation] = field(default_factory=list)
    findings: list[ClinicFinding] = field(default_factory=list)
    statuses: list[KnownStatus] = field(default_factory=list)
    events: list[ClinicEvent] = field(default_factory=list)


def added_since(
    session: Session, row: PatientMerge, homes: Mapping[int, tuple[int, int]], whole: list[int]
) -> list[Added]:
    """`homes`: of each single operation that goes back the shoulder where it is and the one where it goes; `whole`: whole shoulders.

    To be asked before anything goes back. Raises Contradiction where both records have a part in one operation.
    """
    found = []
    for shoulder in session.scalars(select(Shoulder).where(Shoulder.id.in_(whole)).order_by(Shoulder.id)):
        found.append(Added(shoulder.id, statuses=_statuses(session, row, shoulder)))
    for there_id, home_id in dict.fromkeys(homes.values()):
        there = session.get_one(Shoulder, there_id)
        moved = {id_ for id_, places in homes.items() if places == (there_id, home_id)}
        added = _operations(row, there, moved)
        back = moved | {each.id for each in added}
        findings = [each for each in _findings(session, row, there) if _last_done(there, each.examined_on) in back]
        statuses = [each for each in _statuses(session, row, there) if _last_done(there, each.known_on) in back]
        events = [each for each in events_after(session, back, there.operations) if each.made_at > row.merged_at]
        found.append(Added(home_id, added, findings, statuses, events))
    return found


def bring_back(session: Session, added: list[Added], alias_id: int) -> None:
    """To be called when shoulders and operations are back where they were."""
    for each in added:
        home = session.get_one(Shoulder, each.home_id)
        for operation in each.operations:
            operation.position, operation.shoulder_id = first_free_position(home), home.id
            session.flush()
            session.expire(home, ["operations"])
        for finding in each.findings:
            finding.shoulder_id = home.id
        for status in each.statuses:
            status.patient_id = alias_id
        for event in each.events:
            event.shoulder_id = home.id
        session.flush()
    session.flush()
    session.expire_all()


def _operations(row: PatientMerge, there: Shoulder, moved: set[int]) -> list[Operation]:
    back, added = set(moved), list[Operation]()
    for operation in sorted(there.operations, key=lambda each: each.id):
        if operation.made_at > row.merged_at and operation.id not in back and _hangs_on(operation, there, back):
            back.add(operation.id)
            added.append(operation)
    return added


def _hangs_on(operation: Operation, shoulder: Shoulder, back: set[int]) -> bool:
    ties = {each.put_in_id for each in operation.taken_out if each.struck_at is None} - {operation.id}
    ties |= {operation.first_stage_id} if operation.first_stage_id is not None else set()
    refuse_if(
        bool(ties & back) and bool(ties - back),
        "An operation that was entered since belongs to operations of both records. Correct it first, then undo this.",
    )
    on = operation.surgery_on or date.max
    return bool(ties & back) if ties else _last_done(shoulder, on, before=operation) in back


def _last_done(shoulder: Shoulder, on: date, before: Operation | None = None) -> int | None:
    """The operation that was done last by that day; `before`: other than this one."""
    done = [
        (each.surgery_on, each.position, each.id)
        for each in shoulder.operations
        if each.surgery_on and each is not before
    ]
    return max((each for each in done if each[0] <= on), default=(None, 0, None))[2]


def _findings(session: Session, row: PatientMerge, shoulder: Shoulder) -> list[ClinicFinding]:
    return _since(session, ClinicFinding, row, ClinicFinding.shoulder_id == shoulder.id)


def _statuses(session: Session, row: PatientMerge, shoulder: Shoulder) -> list[KnownStatus]:
    return _since(session, KnownStatus, row, KnownStatus.patient_id == row.kept_id, KnownStatus.side == shoulder.side)


def _since(session: Session, model: type[Any], row: PatientMerge, *of: Any) -> list[Any]:
    return list(session.scalars(select(model).where(model.made_at > row.merged_at, *of).order_by(model.id)))
