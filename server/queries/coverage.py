"""Every operation done at this clinic, enrolled or not, one line each: what coverage and flow are counted from.

Of somebody enrolled the operation itself is the line; of somebody who is not, a row of the log. A row whose patient was enrolled after all
is counted by the operation alone. What was not done here (`done_here` in server/fields/operation_words.py) is in no line.
"""

from collections.abc import Callable, Iterable
from dataclasses import dataclass
from datetime import date

from sqlalchemy import select
from sqlalchemy.orm import Session

from server.fields.operation_words import done_here
from server.models import Operation, OperationLog, Patient, Shoulder
from server.queries.current import COUNTED, LOGGED, STANDS


@dataclass(frozen=True)
class Line:
    """`operation_id` and `patient_id` of one who is enrolled, `line_id` and `reason` of one who is not."""

    surgery_on: date
    side: str
    procedure: str | None
    implant_type: str | None
    surgeon: str | None
    operation_id: int | None = None
    patient_id: int | None = None
    line_id: int | None = None
    reason: str | None = None

    @property
    def enrolled(self) -> bool:
        return self.operation_id is not None


@dataclass(frozen=True)
class Coverage:
    """Of all operations of one group so many are enrolled."""

    group: str
    done: int
    enrolled: int

    @property
    def share(self) -> float:
        return self.enrolled / self.done


def read_lines(session: Session, *, since: date | None = None, until: date | None = None) -> list[Line]:
    """The newest first."""
    operations = (
        select(
            Operation.id, Operation.kind, Operation.place, Operation.surgery_on, Operation.procedure, Operation.implant_type,
            Operation.surgeon, Shoulder.side, Patient.id.label("patient_id"),
        )
        .join(Shoulder, Shoulder.id == Operation.shoulder_id)
        .join(Patient, Patient.id == Shoulder.patient_id)
        .where(
            Operation.surgery_on.is_not(None),
            STANDS,
            COUNTED,
        )
    )  # fmt: skip
    log = select(OperationLog).where(LOGGED)
    if since is not None and until is not None:
        operations = operations.where(Operation.surgery_on.between(since, until))
        log = log.where(OperationLog.surgery_on.between(since, until))
    lines = [
        Line(
            each.surgery_on,
            each.side,
            each.procedure,
            each.implant_type,
            each.surgeon,
            operation_id=each.id,
            patient_id=each.patient_id,
        )
        for each in session.execute(operations)
        if each.surgery_on is not None and done_here(each.kind, each.place)
    ]
    lines += [
        Line(
            each.surgery_on,
            each.side,
            each.procedure,
            each.implant_type,
            each.surgeon,
            line_id=each.id,
            reason=each.not_enrolled_reason,
        )
        for each in session.scalars(log)
    ]
    return sorted(lines, key=lambda line: (line.surgery_on, line.line_id or 0, line.operation_id or 0), reverse=True)


def coverage_by(lines: Iterable[Line], group: Callable[[Line], str]) -> list[Coverage]:
    """In the order of the groups' names."""
    counts: dict[str, tuple[int, int]] = {}
    for line in lines:
        done, enrolled = counts.get(group(line), (0, 0))
        counts[group(line)] = (done + 1, enrolled + line.enrolled)
    return [Coverage(name, *counts[name]) for name in sorted(counts)]
