"""Who is told at the invented clinic when a safety answer waits, its holidays, and that its nurse opens Today every morning."""

from datetime import date, datetime

from sqlalchemy import select

from server.clinic.holidays import add_holiday
from server.clinic.safety_net import change_net, note_shown
from server.fields.field import Value
from server.installation.runtime import Runtime
from server.models import Flag

HOLIDAYS = (
    ("New Year", date(2027, 1, 1), date(2027, 1, 1), True),
    ("Christmas", date(2026, 12, 25), date(2026, 12, 26), True),
)


def name_readers(runtime: Runtime, *, reader: int, deputy: int, by_id: int, now: datetime, today: date) -> None:
    """As a data manager does on the two pages, on the last day that is played: the years before are as they were."""
    net: dict[str, Value] = {
        "reader_id": reader, "deputy_id": deputy, "first_hours": 4, "second_hours": 8, "begins_hour": 8, "ends_hour": 16,
        "weekdays": ("1", "2", "3", "4", "5"),
    }  # fmt: skip
    with runtime.store.writing() as session:
        change_net(session, net, now=now, today=today, by_id=by_id)
        for name, first_on, last_on, yearly in HOLIDAYS:
            values: dict[str, Value] = {"name": name, "first_on": first_on, "last_on": last_on, "yearly": yearly}
            add_holiday(session, values, now=now, today=today, by_id=by_id)
        waiting = select(Flag.id).where(Flag.kind == "safety_answer", Flag.settled_at.is_(None))
        flag_ids = session.scalars(waiting).all()
    note_shown(runtime.store, flag_ids, by_id=reader, at=now)
