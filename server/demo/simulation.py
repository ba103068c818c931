"""The invented past: a clock that is set from act to act, and between the acts the passes that a running server makes.

Everything is written by the functions that pages, phones and the server's own clock call; only the clock is handed in.
"""

import gc
import heapq
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, replace
from datetime import date, datetime, time, timedelta
from random import Random

from sqlalchemy import event, select
from sqlalchemy.orm import Session

from server.demo.mail import PastMailbox
from server.installation.runtime import Runtime
from server.jobs.clock import LINKS, tick
from server.jobs.intake import process_received
from server.models import Flag, FollowUp, Operation, Shoulder, Timepoint
from server.reminders.channels.email.channel import EmailChannel
from server.reminders.outbox import send_waiting
from server.schedule.dates import local_day, local_instant
from server.store.engine import Store, make_engine

PASS_AT = time(6, 30)
# How often the server ran, by how many days before the visitor comes in: days between passes, and between those that also look after
# the rows 400 days ahead. A pass after a longer silence reaches the state that daily passes would have reached
# (server.reminders.tick); more of them in the early years would only take the visitor's time.
RHYTHM = ((21, 1, 28), (365, 14, 175), (100 * 365, 28, 175))
KEPT_LETTERS_DAYS = 28


@dataclass
class Clock:
    at: datetime

    def __call__(self) -> datetime:
        return self.at


@dataclass(frozen=True)
class Invited:
    """A timepoint whose patient was asked to answer."""

    timepoint_id: int
    patient_id: int
    operation_id: int
    form_id: str
    side: str
    code: str
    attempt: int
    invites_on: date
    closes_on: date | None


@dataclass(frozen=True)
class Staff:
    nurse_id: int
    surgeon_id: int


class Simulation:
    """`invited` and `flagged` hear of each timepoint and each flag once, after the pass that found it."""

    def __init__(
        self,
        runtime: Runtime,
        time_zone: str,
        *,
        began: datetime,
        until: datetime,
        progress: Callable[[float, str], None],
    ) -> None:
        self.clock = Clock(began)
        self.runtime = replace(runtime, store=_past_store(runtime), real_clock=self.clock)
        self.until = until
        self.staff: Staff
        self.invited: Callable[[Invited], None]
        self.flagged: Callable[[int, int], None]
        self._began, self.time_zone, self._progress = began, time_zone, progress
        self._queue: list[tuple[datetime, int, Callable[[], None]]] = []
        self._planned = 0
        self._known_timepoints: set[int] = set()
        self._known_flags: set[int] = set()
        self._passed_on = self._extended_on = date.min
        mailbox = PastMailbox(runtime.settings, keep_from=until - timedelta(days=KEPT_LETTERS_DAYS))
        self._channels = {"email": EmailChannel(runtime.settings.mail_from, mailbox)}

    @property
    def now(self) -> datetime:
        return self.clock.at

    @property
    def today(self) -> date:
        return self.day(self.clock.at)

    def day(self, at: datetime) -> date:
        return local_day(at, self.time_zone)

    def at(self, day: date, hour: int, minute: int = 0) -> datetime:
        """The instant at which the clinic's clocks show this time."""
        return local_instant(day, time(hour, minute), self.time_zone)

    def office_time(self, day: date, random: Random) -> datetime:
        return self.at(day, random.randint(9, 15), random.randint(0, 59))

    def plan(self, at: datetime, act: Callable[[], None]) -> None:
        """What lies after `until` never happens, what lies back happens now. Acts of one instant come in the order of their planning."""
        at = max(at, self.now)
        if at <= self.until:
            self._planned += 1
            heapq.heappush(self._queue, (at, self._planned, act))

    def play(self) -> None:
        """Acts and passes in the order of their instants, the last pass at `until`."""
        self._plan_pass(self.day(self._began))
        with _seldom_tidied():
            while self._queue:
                at, _, act = heapq.heappop(self._queue)
                self.clock.at = at
                act()
            self.clock.at = self.until
            self.pass_(extend=True)
        _close_past(self.runtime)

    def _plan_pass(self, on: date) -> None:
        self.plan(local_instant(on, PASS_AT, self.time_zone), self._regular_pass)

    def _regular_pass(self) -> None:
        ago = (self.until - self.now).days
        _, passes, extensions = next(each for each in RHYTHM if ago <= each[0])
        if (self.today - self._passed_on).days >= passes:
            self.pass_(extend=(self.today - self._extended_on).days >= extensions)
        self._plan_pass(self._passed_on + timedelta(days=passes))

    def open_envelopes(self) -> None:
        """As a running server does at once: before somebody is called or drawn it is known who has answered."""
        process_received(self.runtime)

    def pass_(self, *, extend: bool = False) -> None:
        """As server.jobs.clock.one_pass, with a mailbox that keeps no letter of long ago."""
        self.open_envelopes()
        tick(self.runtime, extend=extend)
        self._passed_on = self.today
        self._extended_on = self.today if extend else self._extended_on
        send_waiting(self.runtime.store, self.runtime.library, LINKS, self._channels, clock=self.clock)
        self._tell_what_is_new()
        done, whole = self.now - self._began, self.until - self._began
        self._progress(done / whole, f"{self.now.year}")

    def _tell_what_is_new(self) -> None:
        with self.runtime.store.reading() as session:
            invited = [
                each for each in _invited(session, self.today) if each.timepoint_id not in self._known_timepoints
            ]
            flags = session.execute(select(Flag.id, Flag.patient_id).where(Flag.settled_at.is_(None)).order_by(Flag.id))
            flagged = [(flag_id, patient_id) for flag_id, patient_id in flags if flag_id not in self._known_flags]
        for each in invited:
            self._known_timepoints.add(each.timepoint_id)
            self.invited(each)
        for flag_id, patient_id in flagged:
            self._known_flags.add(flag_id)
            self.flagged(flag_id, patient_id)


def _invited(session: Session, today: date) -> list[Invited]:
    columns = (
        Timepoint.id, Timepoint.patient_id, FollowUp.operation_id, Timepoint.form_id, Shoulder.side,
        Timepoint.code, Timepoint.attempt, Timepoint.invites_on, Timepoint.closes_on,
    )  # fmt: skip
    rows = session.execute(
        select(*columns)
        .join(FollowUp, Timepoint.follow_up_id == FollowUp.id)
        .join(Operation, FollowUp.operation_id == Operation.id)
        .join(Shoulder, Operation.shoulder_id == Shoulder.id)
        .where(Timepoint.done_at.is_(None), Timepoint.opens_on <= today, Timepoint.invites_on <= today)
        .order_by(Timepoint.id)
    )
    return [Invited(*row) for row in rows]


@contextmanager
def _seldom_tidied() -> Iterator[None]:
    """Python looks for unreachable objects seldom meanwhile: it would find few, and takes some percent of the visitor's time."""
    usual = gc.get_threshold()
    gc.set_threshold(100_000, *usual[1:])
    try:
        yield
    finally:
        gc.set_threshold(*usual)


def _past_store(runtime: Runtime) -> Store:
    """The same store, but SQLite does not wait for the disk at each of some ten thousand commits.

    A power cut loses the last of them and spoils nothing; the demo is marked as unfinished, and the next start begins again.
    """
    if runtime.store.engine.dialect.name != "sqlite":
        return runtime.store
    engine = make_engine(runtime.store.engine.url, runtime.lock)
    event.listen(engine, "connect", lambda connection, _record: connection.execute("PRAGMA synchronous=normal"))
    return Store(engine, runtime.store.ring)


def _close_past(runtime: Runtime) -> None:
    """Makes what was played durable."""
    engine = runtime.store.engine
    if engine.dialect.name == "sqlite":
        with engine.connect() as connection:
            connection.exec_driver_sql("COMMIT")  # a checkpoint runs outside transactions
            connection.exec_driver_sql("PRAGMA wal_checkpoint(TRUNCATE)")
        engine.dispose()
