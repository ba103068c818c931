"""Components of implants: put in at one operation, taken out at another, or struck because they were written down by mistake."""

from collections.abc import Mapping
from datetime import date, datetime

from sqlalchemy import select
from sqlalchemy.orm import Session

from server.clinic.history import change_row
from server.fields.check import Calendar, checked
from server.fields.component import COMPONENT
from server.fields.field import Value
from server.fields.stored import stored_values
from server.models import Component, Operation, Shoulder
from server.queries.current import STANDS, TAKEN_OUT
from server.trust.audit import audit


def put_in(
    session: Session,
    operation: Operation,
    values: Mapping[str, Value],
    *,
    now: datetime,
    today: date,
    by_id: int | None,
) -> Component:
    """The row of a component that this operation put in. Raises EntryRefused with every error."""
    entry = checked(COMPONENT, values, Calendar(today))
    component = Component(**stored_values(COMPONENT, entry), made_at=now, made_by_id=by_id)
    operation.put_in.append(component)
    session.flush()
    what = {"operation": operation.id, "role": component.role}
    audit(session, "component:put_in", f"component {component.id}", now=now, by_id=by_id, **what)
    return component


def take_out(
    session: Session,
    operation: Operation | None,
    component: Component,
    *,
    now: datetime,
    by_id: int | None,
    why: str | None = None,
) -> None:
    """Taken out at this operation; None: it is in the shoulder after all."""
    taken_out_id = operation.id if operation else None
    if change_row(session, component, {"taken_out_id": taken_out_id}, now=now, by_id=by_id, why=why):
        audit(session, "component:taken_out", f"component {component.id}", now=now, by_id=by_id, operation=taken_out_id)


def strike(session: Session, component: Component, *, now: datetime, by_id: int | None, why: str | None = None) -> None:
    """It was written down by mistake. The row stays and counts no more."""
    if component.struck_at is None:
        change_row(session, component, {"struck_at": now}, now=now, by_id=by_id, why=why)
        audit(session, "component:struck", f"component {component.id}", now=now, by_id=by_id)


def in_the_shoulder(session: Session, shoulder: Shoulder) -> list[Component]:
    """What was put into this shoulder and not taken out, in the order of entry."""
    query = select(Component).join(Operation, Operation.id == Component.put_in_id)
    of_shoulder = query.where(Operation.shoulder_id == shoulder.id, STANDS, Component.struck_at.is_(None))
    return list(session.scalars(of_shoulder.where(~TAKEN_OUT).order_by(Component.id)))
