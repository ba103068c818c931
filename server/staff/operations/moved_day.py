"""Another day of an operation: what becomes of forms that were asked for or answered is told before it is kept.

The correction itself is made and looked at within its transaction, which is given up while somebody is asked: what the page tells cannot
differ from what happens.
"""

from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from datetime import date

from sqlalchemy import select
from sqlalchemy.orm import Session

from server.clinic.operation_entry import Desk, ToBeChecked
from server.models import ContactAttempt, FollowUp, Operation, Timepoint
from server.queries.facts import status_of
from server.schedule.status import Status
from server.staff.page import words
from server.staff.page.asked_about import has_checked
from server.staff.page.request_context import request_context
from server.words import labels


@dataclass(frozen=True)
class MovedForm:
    """One form before and after, in words."""

    title: str
    before: str
    after: str

    @property
    def sentence(self) -> str:
        return f"{self.title}: {self.before}; {self.after}"


class LookFirst(Exception):
    """Nothing is kept. `doubts`: what is often a slip; `moved`: the forms that another day makes something else of."""

    def __init__(self, doubts: list[str], moved: list[MovedForm]) -> None:
        super().__init__(" ".join([*doubts, *(each.title for each in moved)]))
        self.doubts = doubts
        self.moved = moved


@dataclass(frozen=True)
class _Form:
    """How a form stands: what it is called, and its window."""

    title: str
    state: str
    window: str
    answered: bool
    asked: bool
    waits: bool  # it is still to come, so that nothing is lost when it goes or is new

    @property
    def told(self) -> str:
        return words.gettext("%(status)s, window %(window)s") % {"status": self.state, "window": self.window}


def look_first(
    session: Session, operation: Operation, correct: Callable[[Desk], object], desk: Desk, typed: Mapping[str, str]
) -> None:
    """Corrects the operation. Raises LookFirst for what somebody should look at before it is kept, until they were shown all of it."""
    days, before = _days(operation), _forms(session, operation)
    doubts: list[str] = []
    try:
        correct(desk)
    except ToBeChecked as asked:
        doubts = asked.doubts
        correct(replace(desk, checked=True))
    session.flush()
    session.expire_all()
    after_days = _days(operation)
    moved: list[MovedForm] = []
    if after_days != days and _something_came(session, operation, before):
        was_planned = days[0] is None and after_days[0] is not None
        moved = _differing(before, _forms(session, operation), only_answered=was_planned)
    told = [*doubts, *(each.sentence for each in moved)]
    if told and not has_checked(told, typed):
        raise LookFirst(doubts, moved)


def _days(operation: Operation) -> tuple[date | None, str | None, date | None]:
    return operation.surgery_on, operation.surgery_precision, operation.surgery_planned_on


def _something_came(session: Session, operation: Operation, forms: Mapping[int, _Form]) -> bool:
    """An answer, a form that was asked for, or somebody tried to reach the patient: before that a day can move as it likes."""
    of_patient = ContactAttempt.patient_id == operation.shoulder.patient_id
    tried = select(ContactAttempt.id).where(of_patient, ContactAttempt.taken_back_at.is_(None)).limit(1)
    return any(each.answered or each.asked for each in forms.values()) or session.scalar(tried) is not None


def _forms(session: Session, operation: Operation) -> dict[int, _Form]:
    rows = select(Timepoint).join(FollowUp).join(Operation).where(Operation.shoulder_id == operation.shoulder_id)
    return {row.id: _form(row) for row in session.scalars(rows.order_by(Timepoint.due_on, Timepoint.id))}


def _form(row: Timepoint) -> _Form:
    status = status_of(row, request_context().today)
    state = words.say(labels.STATUS[status])
    if row.answered_on is not None and row.window_state is not None:
        state = words.gettext("answered %(window)s") % {"window": words.say(labels.WINDOW[row.window_state])}
    closes = words.day(row.closes_on) if row.closes_on else words.gettext("the day of surgery")
    return _Form(
        title=f"{words.say(labels.SHOULDER[row.follow_up.operation.shoulder.side])}, {words.timepoint(row.code)}",
        state=state,
        window=words.gettext("%(opens)s to %(closes)s") % {"opens": words.day(row.opens_on), "closes": closes},
        answered=row.answered_on is not None,
        asked=row.asked_on is not None,
        waits=status == Status.UPCOMING,
    )


def _differing(before: Mapping[int, _Form], after: Mapping[int, _Form], *, only_answered: bool) -> list[MovedForm]:
    """The forms that are called otherwise afterwards. A form to come that was not there, or goes, is none."""
    nothing = words.gettext("not there")
    found = []
    for each in (*before, *(new for new in after if new not in before)):
        was, will = before.get(each), after.get(each)
        if only_answered and not (was and was.answered):
            continue
        there = was or will
        if there is None or (was and will and was.state == will.state) or (not (was and will) and there.waits):
            continue
        found.append(MovedForm(there.title, was.told if was else nothing, will.told if will else nothing))
    return found
