"""When a safety answer waits and nobody opens Today, somebody is written to. A net for people, and no watch.

Rules:

1. The net is about the safety answer that waits longest of those that Today has shown to nobody (`safety_look`). Whoever is shown it on
   Today has taken it over: nothing more goes about it, settled or not.
2. Step 1 comes `first_hours` working hours after it was raised, step 2 `second_hours` after, and a further one with each further working
   day while it waits. Working time is that of `server/schedule/working_time.py`: no weekend, no holiday.
3. Step 1 goes to the reader, or to the deputy if the reader cannot be written to; each later one to both.
4. Only the latest step due is put out: after days without a running server nobody gets several mails at once.
5. A notice exists once for each answer, step and person, whoever puts it out and however often.
6. While a restored clinic waits for its release nothing goes; whoever runs the jobs asks (server/jobs/clock.py).
"""

from collections.abc import Sequence
from datetime import datetime, timedelta

from sqlalchemy.dialects import postgresql, sqlite
from sqlalchemy.orm import Session

from server.models import Flag, SafetyNet, SafetyNotice, StaffAccount
from server.queries.clock import the_clinic
from server.queries.safety_net import longest_unseen, read_net, reader_of, working_hours
from server.reminders.staff_mail import new_message_id
from server.schedule.working_time import worked_between
from server.store.engine import Store


def make_notices(store: Store, *, now: datetime) -> int:
    """Puts out what is due about the answer that waits longest; returns how many mails wait now that did not."""
    with store.reading() as session:
        if not _due(session, now):
            return 0
    with store.writing() as session:
        return sum(_put_out(session, flag, step, account, now) for flag, step, account in _due(session, now))


def step_due(worked: timedelta, net: SafetyNet) -> int:
    """0 while none is."""
    if worked < timedelta(hours=net.first_hours):
        return 0
    beyond = worked - timedelta(hours=net.second_hours)
    if beyond < timedelta():
        return 1
    return 2 + beyond // timedelta(hours=net.ends_hour - net.begins_hour)


def _due(session: Session, now: datetime) -> list[tuple[Flag, int, StaffAccount]]:
    flag = longest_unseen(session)
    if flag is None:
        return []
    net = read_net(session)
    step = step_due(worked_between(flag.raised_at, now, working_hours(session, net)), net)
    return [(flag, step, account) for account in _told(session, net, step)]


def _told(session: Session, net: SafetyNet, step: int) -> Sequence[StaffAccount]:
    if step == 0:
        return ()
    people = [reader_of(session, account_id) for account_id in (net.reader_id, net.deputy_id)]
    found = [account for account in people if account is not None]
    return found[:1] if step == 1 else found


def _put_out(session: Session, flag: Flag, step: int, account: StaffAccount, now: datetime) -> int:
    insert = sqlite.insert if session.connection().dialect.name == "sqlite" else postgresql.insert
    row = insert(SafetyNotice).values(
        flag_id=flag.id, step=step, account_id=account.id, made_at=now, lease_no=0, tries=0,
        message_id=new_message_id(the_clinic(session).base_url),
    )  # fmt: skip
    return len(session.scalars(row.on_conflict_do_nothing().returning(SafetyNotice.id)).all())
