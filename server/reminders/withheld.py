"""Marks the open forms that stay back because a text of them may not be sent, and clears the mark once they can be asked.

The mark stands in the timepoint's row: since which day and because of which texts. It is kept up as long as the window is open; a
window that closes keeps the last one, so that what the clinic could not ask says why it was never asked (server.schedule.status,
rule 4). Each write repeats its conditions and is a transaction of its own:
a pass may be killed anywhere and run again at any time.
"""

from collections.abc import Sequence
from datetime import date
from typing import Any

from sqlalchemy import BindParameter, ColumnElement, Date, Select, and_, bindparam, func, or_, select, update
from sqlalchemy.orm import Session

from server.models import FollowUp, Patient, Timepoint
from server.queries.texts_in_force import Wording, read_wording
from server.reminders.failures import kind_and_place, log
from server.reminders.link_service import LinkService
from server.store.engine import Store
from server.timepoints.plans import Plans, read_plans

AT_ONCE = 500  # rows in one statement
# plan id, plan version, timepoint, language: all that decides whether a form is withheld.
Group = tuple[str, str, str, str]


def _joined(query: Any) -> Select[Any]:
    joined: Select[Any] = query.select_from(Timepoint).join(FollowUp, Timepoint.follow_up_id == FollowUp.id)
    return joined.join(Patient, Patient.id == Timepoint.patient_id)


def _open(today: date | BindParameter[date]) -> ColumnElement[bool]:
    return and_(
        Timepoint.done_at.is_(None),
        Timepoint.opens_on <= today,
        or_(Timepoint.closes_on.is_(None), Timepoint.closes_on >= today),
    )


_BY = (FollowUp.plan_id, Timepoint.plan_version, Timepoint.code, Patient.language)
_GROUPS = (  # asked with each pass, and so put together once
    _joined(select(*_BY, func.count(Timepoint.withheld_on)))
    .where(_open(bindparam("today", type_=Date)))
    .group_by(*_BY)
    .order_by(*_BY)
)


def mark_withheld(store: Store, link_service: LinkService, *, today: date) -> int:
    """How many marks were set, changed or cleared. Reads without the lock first: on most passes nothing is to be written."""
    with store.reading() as session:
        wording, plans = read_wording(session, link_service.library), read_plans(session)
        found = []
        for group, marked in _groups(session, today):
            texts = _stopped(plans, wording, group)
            if texts or (marked and texts is not None):
                found.append((group, _wrong_marks(session, group, texts, today)))
    return sum(_put_right(store, link_service, group, ids, today) for group, ids in found)


def _groups(session: Session, today: date) -> list[tuple[Group, int]]:
    """What is open, with how many marks there are now."""
    found = session.execute(_GROUPS, {"today": today})
    return [((row[0], row[1], row[2], row[3]), row[4]) for row in found]


def _put_right(store: Store, link_service: LinkService, group: Group, ids: Sequence[int], today: date) -> int:
    """Looks once more under the lock, since a decision or an answer may have come meanwhile."""
    changed = 0
    for start in range(0, len(ids), AT_ONCE):
        with store.writing() as session:
            texts = _stopped(read_plans(session), read_wording(session, link_service.library), group)
            if texts is None:
                continue
            wrong = _wrong_marks(session, group, texts, today, among=ids[start : start + AT_ONCE])
            session.execute(update(Timepoint).where(Timepoint.id.in_(wrong)).values(_mark(texts, today)))
            changed += len(wrong)
    return changed


def _mark(texts: str, today: date) -> dict[str, Any]:
    if not texts:
        return {"withheld_on": None, "withheld_texts": None}
    return {
        "withheld_on": func.coalesce(Timepoint.withheld_on, today),
        "withheld_texts": texts,
    }


def _wrong_marks(
    session: Session, group: Group, texts: str, today: date, *, among: Sequence[int] | None = None
) -> Sequence[int]:
    """Ids of open timepoints of the group, or of those `among` them, whose mark is not what it should be now."""
    wrong: ColumnElement[bool] = Timepoint.withheld_on.is_not(None)
    if texts:
        wrong = or_(Timepoint.withheld_on.is_(None), Timepoint.withheld_texts != texts)
    plan_id, version, code, language = group
    of_group = (
        FollowUp.plan_id == plan_id,
        Timepoint.plan_version == version,
        Timepoint.code == code,
        Patient.language == language,
    )
    rows = _joined(select(Timepoint.id)).where(_open(today), *of_group, wrong).order_by(Timepoint.id)
    return session.scalars(rows if among is None else rows.where(Timepoint.id.in_(among))).all()


def _stopped(plans: Plans, wording: Wording, group: Group) -> str | None:
    """Ids, in order and comma-separated, of the texts that hold the group's form back.

    None while the plan cannot be used, or has no such timepoint: then a mark stays as it is.
    """
    plan_id, version, code, language = group
    plan = plans.usable.get(f"{plan_id}@{version}")
    if plan is None:
        return None
    try:
        parts = plan.entry(code).parts
    except KeyError as problem:
        log.error("no marks for %s of plan %s: %s", code, plan.name, kind_and_place(problem))
        return None
    return ",".join(sorted({each for part in parts for each in wording.stopped(part.instrument, language)}))
