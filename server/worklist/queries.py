"""Which things wait for a person, in order: kinds and ids only, so that a long list costs no more than its page.

Rules:

1. First what a patient may need today (safety answers; `urgency` orders them), then what was said beside a form (a death first), then what
   the clinic holds and cannot use (what pauses messages first), then links that are shut, then what patients reported, then
   operations whose planned day has passed, then timepoints that wait for an answer.
2. Timepoints that need a person come by days left, then by kind, the random quarter of the silent before all others; after them those
   that stay back because a text may not be sent, whatever else they were, then those that rest since somebody tried to reach the
   patient, and then those that are merely open.
3. Of who is said to have died, or wants to be left alone, only that is listed until staff have settled it.
4. Of a record that was entered in error nothing is listed; all of it is again once the record is brought back.
5. The kinds here and server.schedule.status agree; a test compares them over every combination of facts.
"""

from collections.abc import Collection
from dataclasses import dataclass
from datetime import date, timedelta

from sqlalchemy import Date, Subquery, and_, bindparam, case, func, literal, or_, select, text
from sqlalchemy.orm import Session

from server.models import Envelope, Flag, FollowUp, GateTries, Link, Operation, Patient, Shoulder, Timepoint
from server.queries.current import COUNTED, STANDS, rests, waits_for_answer
from server.queries.flags import ONE_NOTICE
from server.queries.pause import PAUSING, is_paused, paused_patients

BASELINE_NEAR_DAYS = 14  # this close to a planned operation a missing baseline is a person's task
SAID_KINDS = (
    "said_died",
    "asked_for_call",
    "asked_to_stop",
    "said_wrong_person",
    "said_wrong_side",
    "said_wrong_date",
)  # in this order
REPORTED_KINDS = (
    "operated_elsewhere",
    "event_reported",
    "contact_change",
    "lost_proposal",
    "consent_again",
    "event_left_behind",
)
OPEN_KINDS = (
    "baseline_missing",
    "non_responder",
    "overdue",
    "withheld",
    "later",
    "due",
)  # equal days left: in this order


@dataclass(frozen=True)
class WorkItem:
    """`id` is that of the timepoint, the flag, the envelope, the operation, or for a locked link the patient."""

    kind: str
    id: int


class WorkSource:
    """Some kinds of work. `rows` has the columns kind, id and what to sort by: first, second, third.

    Statements are built once: building them for each page took longer than running them.
    """

    def __init__(self, kinds: tuple[str, ...], rows: Subquery) -> None:
        self.kinds = kinds
        self._counts = select(rows.c.kind, func.count()).group_by(rows.c.kind)
        order = (rows.c.first, rows.c.second, rows.c.third, rows.c.id)
        page = select(rows.c.kind, rows.c.id).order_by(*order).limit(bindparam("limit")).offset(bindparam("offset"))
        self._all, self._some = page, page.where(rows.c.kind.in_(bindparam("kinds", expanding=True)))

    def counts(self, session: Session, today: date) -> dict[str, int]:
        return {row.kind: row[1] for row in session.execute(self._counts, _days(today))}

    def page(self, session: Session, today: date, kinds: Collection[str], limit: int, offset: int) -> list[WorkItem]:
        values = {**_days(today), "limit": limit, "offset": offset}
        if set(self.kinds) <= set(kinds):
            return [WorkItem(*row) for row in session.execute(self._all, values)]
        return [WorkItem(*row) for row in session.execute(self._some, {**values, "kinds": list(kinds)})]


def _days(today: date) -> dict[str, date]:
    return {"today": today, "near": today + timedelta(days=BASELINE_NEAR_DAYS)}


NO_ERROR = Patient.taken_back_at.is_(
    None
)  # over aliases of duplicates too: their links open what the kept record has due
# Whoever died, withdrew or moved has no living link and is expected nowhere.
FOLLOWED = (Patient.died_on.is_(None), Patient.withdrew_on.is_(None), Patient.transferred_on.is_(None))
TODAY, NEAR = bindparam("today", type_=Date), bindparam("near", type_=Date)


def _flags(*kinds: str) -> Subquery:
    """One row for all flags of one kind that one response raised."""
    same = func.coalesce(Flag.response_id, -Flag.id)
    return (
        select(Flag.kind, func.min(Flag.id).label("id"), func.min(Flag.raised_at).label("first"), *_no_more)
        .join(Patient, Patient.id == Flag.patient_id)
        .where(Flag.settled_at.is_(None), Flag.kind.in_(kinds), NO_ERROR)
        .group_by(Flag.kind, same)
        .subquery()
    )


_no_more = (literal(0).label("second"), literal(0).label("third"))


def _said() -> Subquery:
    rank = case({kind: place for place, kind in enumerate(SAID_KINDS)}, value=Flag.kind)
    order = (rank.label("first"), func.min(Flag.raised_at).label("second"), literal(0).label("third"))
    said = select(Flag.kind, func.min(Flag.id).label("id"), *order)
    there = said.join(Patient, Patient.id == Flag.patient_id).where(NO_ERROR)
    return there.where(Flag.settled_at.is_(None), Flag.kind.in_(SAID_KINDS)).group_by(*ONE_NOTICE).subquery()


def _held() -> Subquery:
    """One row for all that one link sent, that is held for one reason and says the same; its id is that of the oldest."""
    oldest = func.min(Envelope.id)
    rank = case({kind: place for place, kind in enumerate(PAUSING)}, value=Envelope.held_notice, else_=len(PAUSING))
    order = (rank.label("first"), oldest.label("second"), literal(0).label("third"))
    held = select(literal("held").label("kind"), oldest.label("id"), *order)
    links = select(Link.id).join(Patient, Patient.id == Link.patient_id)
    by_link_in_error = links.where(Link.lookup_hash == Envelope.lookup_hash, ~NO_ERROR).correlate(Envelope).exists()
    # SQLite takes a partial index only where the query repeats its predicate, in constants.
    there = held.where(text("envelope.state = 'held'"), ~by_link_in_error)
    return there.group_by(Envelope.lookup_hash, Envelope.held_reason, Envelope.held_notice).subquery()


def _locked() -> Subquery:
    locked = select(literal("locked_link").label("kind"), Patient.id, GateTries.locked_at.label("first"), *_no_more)
    there = locked.join(GateTries, GateTries.handle == Patient.handle)
    return there.where(GateTries.locked_at.is_not(None), NO_ERROR, *FOLLOWED).subquery()


# Open, overdue or non-responder today; what the last tick has not closed yet is left out.
WAITING = waits_for_answer(TODAY)
# A baseline has no closing day until it closes on the day of surgery itself.
_IS_BASELINE = or_(Timepoint.closes_on.is_(None), Timepoint.closes_on == Timepoint.anchor_on)
_SILENT, _LATE = Timepoint.ladder_exhausted_on <= TODAY, Timepoint.due_on < TODAY
OPEN_KIND = case(
    (Timepoint.withheld_on.is_not(None), "withheld"),  # nobody can answer it, so a call helps nothing
    (rests(TODAY), "later"),
    (and_(_IS_BASELINE, or_(Timepoint.anchor_on <= NEAR, _SILENT, _LATE)), "baseline_missing"),
    (_SILENT, "non_responder"),
    (_LATE, "overdue"),
    else_="due",
)


# By their ids, since the index of what waits does not hold the patient's.
_PAUSED = select(Timepoint.id).where(Timepoint.patient_id.in_(paused_patients()))


def _open() -> Subquery:
    last_day = func.coalesce(Timepoint.closes_on, Timepoint.anchor_on, date.max)
    rank = case({word: place for place, word in enumerate(OPEN_KINDS)}, value=OPEN_KIND)
    first_by_lot = case((Timepoint.drawn_on.is_not(None), -1), else_=0)
    below = case({"withheld": 1, "later": 2, "due": 3}, value=OPEN_KIND, else_=first_by_lot)
    order = (below.label("first"), last_day.label("second"), rank.label("third"))
    return select(OPEN_KIND.label("kind"), Timepoint.id, *order).where(WAITING, Timepoint.id.not_in(_PAUSED)).subquery()


def _passed() -> Subquery:
    """Planned operations whose day is over, of people still followed; where the baseline waits too, its row asks the same."""
    baseline_waits = (
        select(Timepoint.id)
        .join(FollowUp, FollowUp.id == Timepoint.follow_up_id)
        .where(FollowUp.operation_id == Operation.id, WAITING)
        .exists()
    )
    return (
        select(
            literal("surgery_passed").label("kind"),
            Operation.id,
            Operation.surgery_planned_on.label("first"),
            *_no_more,
        )
        .join(Shoulder, Shoulder.id == Operation.shoulder_id)
        .join(Patient, Patient.id == Shoulder.patient_id)
        .where(
            Operation.surgery_on.is_(None),
            Operation.cancelled_on.is_(None),
            Operation.surgery_planned_on < TODAY,
            *FOLLOWED,
            COUNTED,
            STANDS,
            ~is_paused(Patient.id),
            ~baseline_waits,
        )
        .subquery()
    )


SAFETY = WorkSource(("safety_answer",), _flags("safety_answer"))
SOURCES = (
    SAFETY,
    WorkSource(SAID_KINDS, _said()),
    WorkSource(("held",), _held()),
    WorkSource(("locked_link",), _locked()),
    WorkSource(REPORTED_KINDS, _flags(*REPORTED_KINDS)),
    WorkSource(("surgery_passed",), _passed()),
    WorkSource(OPEN_KINDS, _open()),
)
KINDS = tuple(kind for source in SOURCES for kind in source.kinds)
