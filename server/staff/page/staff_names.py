"""The names of all staff accounts, also of those that are shut: pages say who did what."""

from sqlalchemy import select
from sqlalchemy.orm import Session

from server.models import StaffAccount


def staff_names(session: Session) -> dict[int, str]:
    """Account id to name."""
    rows = session.execute(select(StaffAccount.id, StaffAccount.name)).all()
    return {row.id: row.name for row in rows}
