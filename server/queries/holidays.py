"""The holidays that stand."""

from sqlalchemy import select
from sqlalchemy.orm import Session

from server.models import ClinicHoliday
from server.schedule.working_time import Holiday


def read_holidays(session: Session) -> tuple[Holiday, ...]:
    standing = select(ClinicHoliday).where(ClinicHoliday.removed_at.is_(None)).order_by(ClinicHoliday.id)
    return tuple(Holiday(row.first_on, row.last_on, row.yearly) for row in session.scalars(standing))
