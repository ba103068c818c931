"""Which patients the list shows and in which order: narrowed by their shoulders, sorted by the database, page by page.

What narrows must be so of one and the same shoulder: left and reverse finds a left reverse, not a left shoulder of someone whose
right one is reverse.
"""

from collections.abc import Mapping
from dataclasses import asdict, dataclass
from datetime import date
from typing import Any

from sqlalchemy import ColumnElement, Select, func, or_, select
from sqlalchemy.orm import Session

from server.fields.operation_words import REVISIONS
from server.models import FollowUp, Operation, Patient, Shoulder, Timepoint
from server.queries.current import COUNTED, STANDS, waits_for_answer
from server.words.phrase import phrase

LEFT = or_(Patient.died_on.is_not(None), Patient.withdrew_on.is_not(None), Patient.transferred_on.is_not(None))
STATES = {
    "waits": phrase("a form is open"),
    "overdue": phrase("past its due day"),
    "silent": phrase("every reminder sent, no answer"),
    "planned": phrase("operation to come"),
    "revised": phrase("revised"),
    "lost": phrase("lost to questionnaires"),
    "left": phrase("died, withdrew or moved away"),
    "no_messages": phrase("asked for no messages"),
    "erasure": phrase("asked for erasure"),
}
# Those that are said of a patient; all others are said of a shoulder.
_OF_PATIENT = {
    "left": LEFT,
    "lost": Patient.lost_on.is_not(None),
    "no_messages": Patient.withdrawal_extent == "messages",
    "erasure": Patient.withdrawal_extent == "erasure",
}
NEWEST, NAME, ANSWERED, DUE, OPERATED = "newest", "name", "answered", "due", "operated"
SORTS = {
    NEWEST: phrase("Newest"),
    NAME: phrase("Name"),
    ANSWERED: phrase("Last answer"),
    DUE: phrase("Next due"),
    OPERATED: phrase("Operation"),
}
LATEST_FIRST = (NEWEST, ANSWERED, OPERATED)
BACKWARDS = "-"


@dataclass(frozen=True)
class Choice:
    """What the list is narrowed to; "" where it is not. `sort` is a word of SORTS, with a "-" before it for the other way round."""

    side: str = ""
    implant: str = ""
    diagnosis: str = ""
    state: str = ""
    sort: str = NEWEST

    @property
    def by(self) -> str:
        return self.sort.removeprefix(BACKWARDS)

    @property
    def backwards(self) -> bool:
        return self.sort.startswith(BACKWARDS)

    @property
    def latest_first(self) -> bool:
        return (self.by in LATEST_FIRST) is not self.backwards

    @property
    def narrowed(self) -> bool:
        return bool(self.side or self.implant or self.diagnosis or self.state)

    def address(self, **changes: str) -> dict[str, str]:
        """As the words of an address, without those that say nothing."""
        found = {**asdict(self), **changes}
        return {name: value for name, value in found.items() if value and (name, value) != ("sort", NEWEST)}


def choice_in(address: Mapping[str, str], offered: Mapping[str, Mapping[str, object]]) -> Choice:
    """What an address asks for; a word that is not offered narrows nothing."""
    found = {name: address.get(name, "") for name in offered}
    known = {name: value if value in offered[name] else "" for name, value in found.items()}
    sort = address.get("sort", NEWEST)
    return Choice(**known, sort=sort if sort.removeprefix(BACKWARDS) in SORTS else NEWEST)


def chosen(choice: Choice, today: date) -> list[ColumnElement[bool]]:
    """The conditions on a patient."""
    found: list[ColumnElement[bool]] = [COUNTED]
    if choice.state in _OF_PATIENT:
        found.append(_OF_PATIENT[choice.state])
    if of_shoulder := list(_of_shoulder(choice, today)):
        found.append(Patient.id.in_(select(Shoulder.patient_id).where(*of_shoulder)))
    return found


def page_of_ids(
    session: Session, choice: Choice, today: date, *, offset: int = 0, limit: int | None = None
) -> list[int]:
    """In the order of the choice, except by name: names are sealed. All of them without a limit."""
    query = select(Patient.id).where(*chosen(choice, today))
    key: Any = Patient.id
    if choice.by != NEWEST:
        days = _days(choice.by, today)
        query = query.outerjoin(days, days.c.patient_id == Patient.id)
        key = days.c.on
        query = query.order_by(key.is_(None))  # what never was stands last, either way round
    order = (key.desc(), Patient.id.desc()) if choice.latest_first else (key, Patient.id)
    return list(session.scalars(query.order_by(*order).offset(offset).limit(limit)))


def counted(session: Session, choice: Choice, today: date) -> int:
    return session.scalar(select(func.count(Patient.id)).where(*chosen(choice, today))) or 0


def in_use(session: Session, column: Any) -> set[str]:
    """The values of a column of operations that occur."""
    return {value for value in session.scalars(select(column).distinct()) if value}


def still_to_come(today: date) -> ColumnElement[bool]:
    """Timepoints that are open or lie ahead."""
    return (
        Timepoint.done_at.is_(None)
        & or_(Timepoint.closes_on.is_(None), Timepoint.closes_on >= today)
        & or_(Timepoint.not_expected_on.is_(None), Timepoint.not_expected_on > today)
    )


def _of_shoulder(choice: Choice, today: date) -> list[ColumnElement[bool]]:
    found: list[ColumnElement[bool]] = []
    if choice.side:
        found.append(Shoulder.side == choice.side)
    if choice.implant:
        found.append(_implant_now().scalar_subquery() == choice.implant)
    if choice.diagnosis:
        found.append(_operated(Operation.diagnosis == choice.diagnosis))
    if choice.state == "planned":
        found.append(_operated(Operation.surgery_on.is_(None), Operation.surgery_planned_on.is_not(None)))
    if choice.state == "revised":
        found.append(_operated(Operation.kind.in_(REVISIONS), Operation.surgery_on.is_not(None)))
    further = {"overdue": [Timepoint.due_on < today], "silent": [Timepoint.ladder_exhausted_on <= today], "waits": []}
    if choice.state in further:
        waiting = select(Operation.shoulder_id).join(FollowUp).join(Timepoint)
        found.append(Shoulder.id.in_(waiting.where(STANDS, waits_for_answer(today), *further[choice.state])))
    return found


def _operated(*conditions: ColumnElement[bool]) -> ColumnElement[bool]:
    found = select(Operation.shoulder_id).where(Operation.cancelled_on.is_(None), STANDS, *conditions)
    return Shoulder.id.in_(found)


def _implant_now() -> Select[str | None]:
    """Of the last operation that says one; one that is only planned counts where none was done."""
    known = select(Operation.implant_type).where(
        Operation.shoulder_id == Shoulder.id,
        Operation.cancelled_on.is_(None),
        Operation.implant_type.is_not(None),
        STANDS,
    )
    return known.order_by(Operation.surgery_on.is_(None), Operation.surgery_on.desc(), Operation.position.desc()).limit(
        1
    )


def _days(by: str, today: date) -> Any:
    """Patient to the day that the list is sorted by."""
    if by == OPERATED:
        days = select(Shoulder.patient_id, func.max(Operation.surgery_on).label("on")).join(Operation)
        return days.where(Operation.cancelled_on.is_(None), STANDS).group_by(Shoulder.patient_id).subquery()
    on, which = (
        (func.max(Timepoint.answered_on), Timepoint.answered_on.is_not(None))
        if by == ANSWERED
        else (func.min(Timepoint.due_on), still_to_come(today))
    )
    return select(Timepoint.patient_id, on.label("on")).where(which).group_by(Timepoint.patient_id).subquery()
