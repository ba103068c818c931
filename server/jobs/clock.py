"""What a running server does by the clock, and one pass of it for the command line. No job store: what is due is found in the tables.

An in-memory job that was missed while the machine slept runs once afterwards, however late.
"""

import logging
from collections.abc import Callable, Mapping
from dataclasses import asdict, dataclass
from datetime import UTC, date, datetime
from typing import Any

from apscheduler.schedulers.background import BackgroundScheduler

from server.clinic.lost import perhaps_lost_on, propose_lost, undo_by_answers
from server.clinic.majority import propose_asking_again, settle_what_was_asked
from server.installation.runtime import Runtime
from server.jobs.intake import process_received
from server.links.make import forget_tokens, link_url, live_link
from server.links.publish import publish_sheets
from server.models import Patient
from server.queries.clock import clinic_day, the_clinic
from server.queries.restored import waits_for_release
from server.reminders.channels.contract import Channel
from server.reminders.channels.table import CHANNELS
from server.reminders.chunks import AT_ONCE, LAST, in_chunks
from server.reminders.copies_mail import tell_of_late_copies
from server.reminders.failures import kind_and_place
from server.reminders.link_service import LinkFunctions
from server.reminders.outbox import MOST_IN_A_PASS, send_waiting
from server.reminders.safety_mail import send_notices
from server.reminders.safety_net import make_notices
from server.reminders.tick import TickReport, run_tick
from server.trust.last_seen import forget_sessions
from server.trust.tries import forget_tries

log = logging.getLogger("yearmark.jobs")

LINKS = LinkFunctions(publish_sheets, live_link, link_url)
TICK_MINUTES = 15
SEND_SECONDS = 20
HOUSEKEEPING_HOURS = 6
LOOKED_AT_AT_ONCE = 500  # patients in one transaction, in which a few statements read for all
DEFAULTS = {"coalesce": True, "max_instances": 1, "misfire_grace_time": None}


def channels_of(runtime: Runtime) -> Mapping[str, Channel]:
    """Every channel of this installation, by the word that rows and channel orders use."""
    with runtime.store.reading() as session:  # each time: the sender can be changed while the server runs
        clinic = the_clinic(session)
    return {channel.name: channel.make(runtime.settings, clinic) for channel in CHANNELS}


def tick(runtime: Runtime, *, extend: bool = True) -> TickReport:
    report = run_tick(runtime.store, runtime.library, LINKS, now=runtime.now(), extend=extend)
    if extend:  # once a day
        _look_who_is_lost(runtime)
        with runtime.store.writing() as session:
            settle_what_was_asked(session, now=runtime.now())
            propose_asking_again(session, now=runtime.now())
    return report


def _look_who_is_lost(runtime: Runtime) -> None:
    now = runtime.now()
    with runtime.store.writing() as session:
        undo_by_answers(session, now=now)
        perhaps_lost = perhaps_lost_on(clinic_day(the_clinic(session), now))
    perhaps_lost = perhaps_lost.where(Patient.id > LAST).order_by(Patient.id).limit(AT_ONCE)
    for patients in in_chunks(runtime.store, perhaps_lost, at_once=LOOKED_AT_AT_ONCE):
        with runtime.store.writing() as session:
            propose_lost(session, now=now, among=patients)


def send(runtime: Runtime, *, most: int | None = None) -> int:
    """Sends what waits, or the oldest so many of it; returns how many messages left. None does from a restored, unreleased clinic."""
    with runtime.store.reading() as session:
        if waits_for_release(session) is not None:
            return 0
    return send_waiting(runtime.store, runtime.library, LINKS, channels_of(runtime), clock=runtime.now, most=most)


def tell_of_safety(runtime: Runtime) -> int:
    """The net about safety answers that wait while nobody opens Today; returns how many mails left. None while a restore waits."""
    with runtime.store.reading() as session:
        if waits_for_release(session) is not None:
            return 0
    make_notices(runtime.store, now=runtime.now())
    return send_notices(runtime.store, runtime.settings, clock=runtime.now)


def tell_of_copies(runtime: Runtime) -> int:
    """Copies are judged by the machine's clock. Nothing leaves while a restore waits."""
    with runtime.store.reading() as session:
        if waits_for_release(session) is not None:
            return 0
    return tell_of_late_copies(runtime.store, runtime.settings, now=runtime.real_clock())


def one_pass(runtime: Runtime) -> dict[str, int]:
    """Intake, then the calendar, then sending: in this order, so that nobody who answered is reminded."""
    counts = process_received(runtime)
    ticked, told = tick(runtime), tell_of_safety(runtime)
    return {"recorded": counts.recorded, "held": counts.held, **asdict(ticked), "told": told, "sent": send(runtime)}


def keep_house(runtime: Runtime) -> dict[str, int]:
    """Wipes tokens 400 days after their link ended, sessions that are over, and old tries. Sessions run on the machine's clock."""
    now, real_now = runtime.now(), runtime.real_clock()
    with runtime.store.writing() as session:
        forgotten = forget_tokens(session, now=now)
        gone = forget_sessions(session, now=real_now)
        forget_tries(session, now=real_now)
        return {"tokens": forgotten, "sessions": gone}


@dataclass
class DailyTick:
    """The tick every quarter of an hour; only the first of a clinic's day looks 400 days ahead, where little changes."""

    runtime: Runtime
    extended_on: date | None = None

    def __call__(self) -> TickReport:
        now = self.runtime.now()
        with self.runtime.store.reading() as session:
            today = clinic_day(the_clinic(session), now)
        report = tick(self.runtime, extend=today != self.extended_on)
        self.extended_on = today
        return report


def make_scheduler(runtime: Runtime, ticked: Callable[[], None] = lambda: None) -> BackgroundScheduler:
    """Not yet started. `start()` runs all jobs at once and then by the clock; `shutdown(wait=True)` lets running ones finish.

    `ticked` is called after each tick that ended well.
    """
    daily = DailyTick(runtime)

    def tick_and_tell() -> None:
        log.info("tick", extra={"counts": asdict(daily())})
        ticked()

    def send_and_tell() -> None:
        if sent := send(runtime, most=MOST_IN_A_PASS):
            log.info("messages left", extra={"counts": {"sent": sent}})

    scheduler = BackgroundScheduler(timezone=UTC, job_defaults=DEFAULTS)
    for name, work, every in (
        ("tick", tick_and_tell, {"minutes": TICK_MINUTES}),
        ("sender", send_and_tell, {"seconds": SEND_SECONDS}),
        ("safety net", lambda: tell_of_safety(runtime), {"minutes": TICK_MINUTES}),
        ("copies", lambda: tell_of_copies(runtime), {"hours": HOUSEKEEPING_HOURS}),
        ("housekeeping", lambda: keep_house(runtime), {"hours": HOUSEKEEPING_HOURS}),
    ):
        # The scheduler's clock is the machine's, whatever day a demo shows.
        scheduler.add_job(guarded(name, work), "interval", id=name, next_run_time=datetime.now(UTC), **every)
    return scheduler


def guarded(name: str, work: Callable[[], Any]) -> Callable[[], None]:
    """The same, logging a failure by kind and place only: the text of an exception can hold a name or an answer."""

    def run() -> None:
        try:
            work()
        except Exception as problem:
            log.error("%s failed and will run again: %s", name, kind_and_place(problem))

    return run
