"""The clinic's holidays are entered and removed here; a row that was removed stays, as history."""

from collections.abc import Mapping
from datetime import date, datetime, timedelta

from sqlalchemy import select
from sqlalchemy.orm import Session

from server.fields.check import Calendar, checked
from server.fields.field import Value
from server.fields.holiday import HOLIDAY
from server.models import ClinicHoliday
from server.queries.clock import clinic_to_change
from server.trust.audit import audit

LONGEST = timedelta(days=365)


def add_holiday(
    session: Session, values: Mapping[str, Value], *, now: datetime, today: date, by_id: int | None
) -> ClinicHoliday:
    """Enters it; one of the same days that stands already is returned as it is. Raises EntryRefused."""
    entry = checked(HOLIDAY, values, Calendar(today), _against_each_other(values))
    first_on = entry.day("first_on")
    if first_on is None:
        raise ValueError("a holiday without a first day was let through")
    days = {"first_on": first_on, "last_on": entry.day("last_on") or first_on, "yearly": entry["yearly"] is True}
    clinic_to_change(session)  # two people who enter the same day enter it once
    there = select(ClinicHoliday).filter_by(**days).where(ClinicHoliday.removed_at.is_(None))
    found = session.scalars(there.limit(1)).first()
    if found is not None:
        return found
    holiday = ClinicHoliday(**days, name=entry.text("name"), added_at=now, added_by_id=by_id)
    session.add(holiday)
    session.flush()
    audit(session, "holiday:added", f"holiday {holiday.id}", now=now, by_id=by_id, **days)
    return holiday


def remove_holiday(session: Session, holiday_id: int, *, now: datetime, by_id: int | None) -> bool:
    """False when there is none of this id, or it was removed before."""
    clinic_to_change(session)
    holiday = session.get(ClinicHoliday, holiday_id, populate_existing=True)
    if holiday is None or holiday.removed_at is not None:
        return False
    holiday.removed_at, holiday.removed_by_id = now, by_id
    audit(session, "holiday:removed", f"holiday {holiday.id}", now=now, by_id=by_id)
    session.flush()
    return True


def _against_each_other(values: Mapping[str, Value]) -> list[tuple[str, str]]:
    first_on, last_on = values.get("first_on"), values.get("last_on")
    if not isinstance(first_on, date) or not isinstance(last_on, date):
        return []
    if last_on < first_on:
        return [("last_on", "The last day is before the first. Check both.")]
    if last_on - first_on >= LONGEST:
        return [("last_on", "These are more days than a year has. Check the year of both.")]
    return []
