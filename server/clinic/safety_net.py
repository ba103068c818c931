"""The safety net's settings are changed here, and who was first shown a safety answer is kept here."""

from collections.abc import Collection, Mapping
from datetime import date, datetime

from sqlalchemy import select
from sqlalchemy.dialects import postgresql, sqlite
from sqlalchemy.orm import Session

from server.clinic.history import change_row
from server.fields.check import Calendar, checked
from server.fields.field import Value
from server.fields.safety_net import SAFETY_NET
from server.fields.stored import stored_values
from server.models import Flag, SafetyLook, SafetyNet
from server.queries.clock import clinic_to_change
from server.queries.safety_net import default_net, reader_of
from server.store.engine import Store
from server.trust.audit import audit


def net_to_change(session: Session) -> SafetyNet:
    """The settings as they are now, and nobody else changes them before this transaction ends."""
    clinic_to_change(session)
    net = session.get(SafetyNet, 1, populate_existing=True)
    if net is None:
        net = default_net()
        session.add(net)
        session.flush()
    return net


def change_net(
    session: Session,
    values: Mapping[str, Value],
    *,
    now: datetime,
    today: date,
    by_id: int | None,
    why: str | None = None,
) -> list[str]:
    """Brings the settings up to date; returns the names of those that changed. Raises EntryRefused."""
    net = net_to_change(session)
    entry = checked(SAFETY_NET, values, Calendar(today), _against_each_other(session, values))
    changed = change_row(session, net, stored_values(SAFETY_NET, entry), now=now, by_id=by_id, why=why)
    if changed:
        audit(session, "safety_net:changed", "safety_net 1", now=now, by_id=by_id, fields=changed)
        session.flush()
    return changed


def _against_each_other(session: Session, values: Mapping[str, Value]) -> list[tuple[str, str]]:
    wrong = []
    for name in ("reader_id", "deputy_id"):
        account_id = values.get(name)
        if isinstance(account_id, int) and reader_of(session, account_id) is None:
            wrong.append((name, "That account cannot open Today, or is shut. Choose a nurse or a surgeon."))
    if values.get("deputy_id") and values.get("deputy_id") == values.get("reader_id"):
        wrong.append(("deputy_id", "Reader and deputy are the same person. Choose another, or nobody."))
    if _at_or_after(values, "first_hours", "second_hours"):
        wrong.append(("second_hours", "The deputy is written to later than the reader. Enter more hours."))
    if _at_or_after(values, "begins_hour", "ends_hour"):
        wrong.append(("ends_hour", "The clinic closes before it opens. Check both hours."))
    return wrong


def _at_or_after(values: Mapping[str, Value], earlier: str, later: str) -> bool:
    first, second = values.get(earlier), values.get(later)
    return isinstance(first, int) and isinstance(second, int) and first >= second


def note_shown(store: Store, flag_ids: Collection[int], *, by_id: int, at: datetime) -> int:
    """Keeps that Today showed these safety answers to somebody; returns how many nobody had been shown before.

    Looked for first, so that a page which shows nothing new waits for no writer.
    """
    new = select(Flag.id).where(Flag.id.in_(flag_ids), Flag.id.not_in(select(SafetyLook.flag_id)))
    with store.reading() as session:
        shown = session.scalars(new).all()
    if not shown:
        return 0
    with store.writing() as session:
        insert = sqlite.insert if session.connection().dialect.name == "sqlite" else postgresql.insert
        rows = [{"flag_id": flag_id, "at": at, "by_id": by_id} for flag_id in shown]
        kept = insert(SafetyLook).values(rows).on_conflict_do_nothing().returning(SafetyLook.flag_id)
        return len(session.scalars(kept).all())
