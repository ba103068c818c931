"""The safety net's settings, the people it may write to, and the safety answers that nobody was shown yet."""

from datetime import time

from sqlalchemy import Select, exists, select
from sqlalchemy.orm import Session

from server.models import Flag, Patient, SafetyLook, SafetyNet, StaffAccount
from server.queries.clock import the_clinic
from server.queries.holidays import read_holidays
from server.schedule.working_time import WorkingHours

READERS = ("nurse", "surgeon")  # whoever may open Today

# Flags of records that were entered in error are on no list, and so in no net.
_UNSEEN = (
    select(Flag)
    .join(Patient, Patient.id == Flag.patient_id)
    .where(
        Flag.kind == "safety_answer",
        Flag.settled_at.is_(None),
        Patient.taken_back_at.is_(None),
        ~exists().where(SafetyLook.flag_id == Flag.id),
    )
    .order_by(Flag.raised_at, Flag.id)
)


def read_net(session: Session) -> SafetyNet:
    """The settings; a row that is not in the session where the clinic has saved none."""
    return session.get(SafetyNet, 1) or default_net()


def default_net() -> SafetyNet:
    return SafetyNet(
        id=1, reader_id=None, deputy_id=None, first_hours=4, second_hours=8, weekdays="1,2,3,4,5", begins_hour=8, ends_hour=16
    )  # fmt: skip


def working_hours(session: Session, net: SafetyNet) -> WorkingHours:
    return WorkingHours(
        weekdays=frozenset(int(day) for day in net.weekdays.split(",")),
        begins=time(net.begins_hour),
        ends=time(net.ends_hour),
        zone=the_clinic(session).time_zone,
        holidays=read_holidays(session),
    )


def readers() -> Select[StaffAccount]:
    """The accounts that can be chosen and written to: those that can open Today."""
    open_ones = StaffAccount.role.in_(READERS) & StaffAccount.disabled_at.is_(None)
    return select(StaffAccount).where(open_ones).order_by(StaffAccount.name, StaffAccount.id)


def reader_of(session: Session, account_id: int | None) -> StaffAccount | None:
    """The account, if it can be written to now."""
    return session.scalars(readers().where(StaffAccount.id == account_id)).first() if account_id else None


def longest_unseen(session: Session) -> Flag | None:
    """The safety answer that waits longest of those that Today has shown to nobody."""
    return session.scalars(_UNSEEN.limit(1)).first()


def is_unseen(session: Session, flag_id: int) -> bool:
    return session.scalars(_UNSEEN.where(Flag.id == flag_id)).first() is not None
