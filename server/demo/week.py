"""A week passes: seven days, each with one pass of the clock, in a thread of its own so that a page can show how far it is."""

import logging
import threading
from collections import Counter
from dataclasses import dataclass, field, replace
from datetime import date, datetime, timedelta

from sqlalchemy import select
from sqlalchemy.orm import Session

from server.demo.door_words import counted
from server.demo.folder import read_demo_file
from server.demo.listing import write_listing
from server.installation.runtime import Runtime
from server.jobs.clock import one_pass
from server.models import Message, Transition
from server.queries.clock import clinic_day, clinic_now, set_clock, the_clinic

log = logging.getLogger("yearmark.demo")
DAYS = 7


@dataclass(frozen=True)
class WeekState:
    """`done` of seven days. `lines` say what happened, once it is over; `problem` that it broke off."""

    running: bool = False
    done: int = 0
    from_on: date | None = None
    to_on: date | None = None
    lines: tuple[str, ...] = ()
    problem: bool = False


@dataclass
class Week:
    """One week at a time; a second press while it runs changes nothing."""

    runtime: Runtime
    _state: WeekState = field(default_factory=WeekState)
    _lock: threading.Lock = field(default_factory=threading.Lock)

    def state(self) -> WeekState:
        return self._state

    def begin(self) -> threading.Thread | None:
        with self._lock:
            if self._state.running:
                return None
            self._state = WeekState(running=True)
        thread = threading.Thread(target=self._run, name="a week passes", daemon=True)
        thread.start()
        return thread

    def _run(self) -> None:
        try:
            self._pass()
        except Exception:
            log.exception("the week was broken off; the clock stands where it stopped")
            self._state = replace(self._state, running=False, problem=True)

    def _pass(self) -> None:
        began, from_on = self._now()
        totals: Counter[str] = Counter()
        for day in range(DAYS):
            self._a_day_on()
            totals.update(one_pass(self.runtime))
            self._state = replace(self._state, done=day + 1)
        _, to_on = self._now()
        with self.runtime.store.reading() as session:
            lines = what_happened(session, began, totals)
        write_listing(self.runtime, read_demo_file(self.runtime.settings.data).get("accounts", []))
        self._state = WeekState(False, DAYS, from_on, to_on, tuple(lines))

    def _now(self) -> tuple[datetime, date]:
        with self.runtime.store.reading() as session:
            clinic = the_clinic(session)
            now = clinic_now(clinic, self.runtime.real_clock())
            return now, clinic_day(clinic, now)

    def _a_day_on(self) -> None:
        with self.runtime.store.writing() as session:
            clinic, real_now = the_clinic(session), self.runtime.real_clock()
            set_clock(clinic, clinic_now(clinic, real_now) + timedelta(days=1), real_now)


def what_happened(session: Session, since: datetime, totals: Counter[str]) -> list[str]:
    """Sentences about everything written down since then."""
    turned = Counter(session.scalars(select(Transition.status_after).where(Transition.at > since)))
    went = select(Message.step).where(Message.done_at > since, Message.outcome == "sent")
    sent = Counter(session.scalars(went))
    invitations = sent.pop("invitation", 0)
    lines = [
        f"{counted(invitations, 'invitation', 'invitations')} and {counted(sum(sent.values()), 'reminder', 'reminders')} went out.",
        f"{counted(turned['open'], 'form opened', 'forms opened')}, {turned['overdue']} fell due.",
        f"{counted(turned['non_responder'], 'patient has', 'patients have')} had every reminder: the nurse sees whom to call.",
        f"{counted(turned['missed'], 'window', 'windows')} closed unanswered.",
    ]
    if totals["recorded"] or totals["held"]:
        lines.append(f"{counted(totals['recorded'], 'answer was', 'answers were')} taken in, {totals['held']} held.")
    return lines
