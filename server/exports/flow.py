"""log.csv and flow.csv: every operation counted, from operated to analysed, with each loss and its reason. No row is about one person.

Counted are the operations that were done by the as-of day: those of enrolled patients, whether or not they are in the other files, and
the lines of the operation log whose patients are not enrolled. What adds up to what stands in STEPS.
"""

from collections import Counter
from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import dataclass, field
from datetime import date
from typing import Any, NamedTuple

from sqlalchemy import not_, select

from server.exports.column import YES_NO, Column, said
from server.exports.facts import FormFacts, OperationFacts
from server.exports.read import Reader
from server.exports.wide import RECALLED, in_wide
from server.fields.log import NOT_ENROLLED
from server.fields.operation_words import IMPLANT_TYPES, OPERATION_KINDS, PLACES, PROCEDURE_WORDS, SIDES, done_here
from server.models import Operation, OperationLog, Patient, Shoulder
from server.models.response import FOR_THE_PATIENT
from server.queries.current import COUNTED, LOGGED, STANDS
from server.schedule.status import Status
from server.schedule.timepoint_code import TimepointCode

LOG, FLOW = "log.csv", "flow.csv"
STEPS = {
    "operated": "all: not_enrolled and enrolled",
    "not_enrolled": "the patient is not enrolled",
    "enrolled": "all: no_research_consent and in_files",
    "no_research_consent": "enrolled, in no other file",
    "in_files": "all; at each timepoint the sum of the steps below",
    "not_planned": "no such timepoint, or too far ahead",
    "upcoming": "the window has not opened",
    "not_expected": "no longer expected",
    "never_asked": "nobody was asked",
    "waiting": "the window is open, no answer yet",
    "missed": "the window closed without an answer",
    "recalled": "asked after surgery, so no baseline",
    "not_readable": "answered; the answers cannot be read",
    "answered_for": "answered by somebody else, so no score",
    "analysed": "answered, in the files",
}
_BY_STATUS = {
    Status.UPCOMING: "upcoming",
    Status.NOT_EXPECTED: "not_expected",
    Status.NEVER_ASKED: "never_asked",
    Status.OPEN: "waiting",
    Status.OVERDUE: "waiting",
    Status.NON_RESPONDER: "waiting",
}


class Group(NamedTuple):
    """What operations are counted by; an empty word is not recorded, and of a line of the log the kind is not known.

    `here`: whether it counts as done in this clinic, as coverage counts it.
    """

    year: int
    side: str
    kind: str
    procedure: str
    implant_type: str
    here: bool


class Counted(NamedTuple):
    group: Group
    timepoint: str
    step: str
    reason: str


class Logged(NamedTuple):
    """A line of log.csv: what coverage is counted from."""

    group: Group
    surgeon: str
    place: str
    enrolment: str
    reason: str


@dataclass(frozen=True)
class CountRow:
    as_of: date
    what: Any
    operations: int


@dataclass
class Flow:
    """`timepoints`: the codes at which each operation is looked at."""

    timepoints: list[str]
    steps: Counter[Counted] = field(default_factory=Counter)
    log: Counter[Logged] = field(default_factory=Counter)

    def in_files(self, operation: OperationFacts, forms: Iterable[FormFacts]) -> None:
        """An operation that is in the other files; one that is not done yet is not counted."""
        on = operation.recorded["surgery_on"]
        if not isinstance(on, date) or on > operation.as_of:
            return
        group = _group(on, operation.side, {**operation.recorded})
        place = str(operation.recorded["place"] or "")
        self.log[Logged(group, operation.surgeon or "", place, "in_files", "")] += 1
        self._count(group, "operated", "enrolled", "in_files")
        at = in_wide(forms)
        for code in self.timepoints:
            step, reason = _standing(operation, at, code)
            self.steps[Counted(group, code, step, reason)] += 1

    def left_out(self, reader: Reader) -> None:
        """Enrolled patients whose research consent does not stand, and operations of people who are not enrolled."""
        query = select(Operation, Shoulder.side, Patient.id.label("patient_id")).join(
            Shoulder, Shoulder.id == Operation.shoulder_id
        )
        query = query.join(Patient, Patient.id == Shoulder.patient_id).where(
            COUNTED, STANDS, not_(reader.included(Patient.id))
        )
        rows = list(reader.session.execute(query.where(Operation.surgery_on <= reader.as_of)))
        consents = reader.consents({row.patient_id for row in rows})
        for row in rows:
            operation, reason = row.Operation, consents.get(row.patient_id, "none")
            group = _group(operation.surgery_on, row.side, vars(operation))
            surgeon = reader.surgeon_code(operation.surgeon) or ""
            self.log[Logged(group, surgeon, operation.place or "", "no_research_consent", reason)] += 1
            self._count(group, "operated", "enrolled")
            self.steps[Counted(group, "", "no_research_consent", reason)] += 1
        lines = select(OperationLog).where(LOGGED)
        for line in reader.session.scalars(lines.where(OperationLog.surgery_on <= reader.as_of)):
            group, reason = _group(line.surgery_on, line.side, vars(line)), line.not_enrolled_reason or ""
            self.log[Logged(group, reader.surgeon_code(line.surgeon) or "", "here", "not_enrolled", reason)] += 1
            self._count(group, "operated")
            self.steps[Counted(group, "", "not_enrolled", reason)] += 1

    def _count(self, group: Group, *steps: str) -> None:
        for step in steps:
            self.steps[Counted(group, "", step, "")] += 1

    def flow_rows(self, as_of: date) -> Iterator[CountRow]:
        order = {step: place for place, step in enumerate(STEPS)}
        codes = {code: place for place, code in enumerate(["", *sorted(self.timepoints, key=TimepointCode.parse)])}
        for what in sorted(
            self.steps, key=lambda each: (each.group, codes[each.timepoint], order[each.step], each.reason)
        ):
            yield CountRow(as_of, what, self.steps[what])

    def log_rows(self, as_of: date) -> Iterator[CountRow]:
        for what in sorted(self.log):
            yield CountRow(as_of, what, self.log[what])


def _group(on: date, side: str, recorded: Mapping[str, Any]) -> Group:
    kind, procedure, implant_type = (str(recorded.get(name) or "") for name in ("kind", "procedure", "implant_type"))
    here = not kind or done_here(kind, recorded.get("place"))
    return Group(on.year, side, kind, procedure, implant_type, here)


def _standing(operation: OperationFacts, at: Mapping[str, FormFacts], code: str) -> tuple[str, str]:
    """The step at which an operation stands at a timepoint, and the reason."""
    form = at.get(code)
    if form is None:
        return "not_planned", "not_planned" if operation.plan else "no_follow_up"
    status = Status(form.status)
    if form.missing == RECALLED:
        return "recalled", RECALLED
    if form.missing in ("erased", "unreadable"):
        return "not_readable", form.missing
    if status == Status.MISSED:
        return "missed", form.status_reason
    if status in _BY_STATUS:
        return _BY_STATUS[status], form.missing or "answered_later"
    return ("answered_for" if form.answered_by == FOR_THE_PATIENT else "analysed"), form.status


def _column(file: str, name: str, label: str, type: str, value: Callable[[CountRow], object], **more: Any) -> Column:
    return Column(name, label, type, (file,), value, source="operation and operation log", **more)


def _by_group(file: str) -> tuple[Column, ...]:
    return (
        _column(file, "surgery_year", "Year of surgery", "integer", lambda r: r.what.group.year),
        _column(file, "side", "Operated shoulder", "word", lambda r: r.what.group.side, codes=tuple(SIDES)),
        _column(file, "operation_kind", "Kind of operation; empty: a line of the log", "word",
            lambda r: r.what.group.kind or None, codes=said(OPERATION_KINDS)),
        _column(file, "procedure", "Procedure: what was done", "word",
            lambda r: r.what.group.procedure or None, codes=said(PROCEDURE_WORDS)),
        _column(file, "implant_type", "Implant type", "word",
            lambda r: r.what.group.implant_type or None, codes=said(IMPLANT_TYPES)),
        _column(file, "done_here", "Whether it counts as done in this clinic; coverage is over these", "integer",
            lambda r: r.what.group.here, codes=YES_NO,
            note="0 for what was done elsewhere, and for an operation before the first one here of which no place is recorded"),
        _column(file, "as_of", "Day on which statuses were computed", "date", lambda r: r.as_of),
    )  # fmt: skip


LOG_COLUMNS = (
    *_by_group(LOG),
    _column(LOG, "surgeon", "Surgeon, by a code that is the same in every export", "text", lambda r: r.what.surgeon or None),
    _column(LOG, "place", "Where it was done, as recorded", "word", lambda r: r.what.place or None,
        codes=said(PLACES)),
    _column(LOG, "enrolment", "Whether the patient is enrolled, and in the other files", "word", lambda r: r.what.enrolment,
        codes=("not_enrolled", "no_research_consent", "in_files")),
    _column(LOG, "reason", "Why not", "word", lambda r: r.what.reason or None,
        codes=(*said(NOT_ENROLLED), "withdrawn = consent to research withdrawn", "none = no consent to research")),
    _column(LOG, "operations", "How many operations", "integer", lambda r: r.operations),
)  # fmt: skip
FLOW_COLUMNS = (
    *_by_group(FLOW),
    _column(FLOW, "timepoint", "Timepoint of the plan; empty for the steps before", "text", lambda r: r.what.timepoint or None),
    _column(FLOW, "step", "Step at which the operations stand", "word", lambda r: r.what.step,
        codes=tuple(f"{step} = {words}" for step, words in STEPS.items()),
        note="operated, enrolled and in_files are sums; count them or what they are made of, not both"),
    _column(FLOW, "reason", "Why they stand there", "text", lambda r: r.what.reason or None),
    _column(FLOW, "operations", "How many operations", "integer", lambda r: r.operations),
)  # fmt: skip
