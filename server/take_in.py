"""Takes stored envelopes in, then brings the due sheets of those patients up to date. One thread does it, woken by each post."""

import logging
import threading
from collections.abc import Callable

from sqlalchemy import select
from sqlalchemy.exc import DBAPIError

from server.installation.runtime import Runtime
from server.intake.waiting import Taken, record_waiting
from server.links.publish import publish_sheet
from server.models import Link, Patient
from server.queries.clock import clinic_day, clinic_now, the_clinic

log = logging.getLogger(__name__)
LOOK_EVERY_SECONDS = 30
QUIET_SECONDS = 0.5
GATHER_SECONDS = (
    0.05  # one transaction for what a phone or several send at once; a batch costs much the same for five as for fifty
)
SHEETS_AT_ONCE = 10


def take_in(runtime: Runtime) -> Taken:
    """Records all that waits and publishes what changed. Safe to run at any time and beside another."""
    taken = record_waiting(runtime.store, runtime.keys, runtime.library, now=runtime.now())
    publish_stale(runtime)
    return taken


def publish_stale(runtime: Runtime, interrupted: Callable[[], bool] = lambda: False) -> None:
    """Re-seals the sheets that still ask for what was answered, a few in a transaction; stops early when interrupted.

    Which they are stands in the rows, written with the answer, so that a killed server goes on where it was.
    """
    while not interrupted():
        with runtime.store.writing() as session:
            stale = select(Link.patient_id).where(Link.sheet_stale, Link.ended_at.is_(None)).limit(SHEETS_AT_ONCE)
            patient_ids = list(session.scalars(stale))
            clinic = the_clinic(session)
            now = clinic_now(clinic, runtime.real_clock())
            for patient in session.scalars(select(Patient).where(Patient.id.in_(patient_ids))):
                publish_sheet(session, patient, library=runtime.library, now=now, today=clinic_day(clinic, now))
        if not patient_ids:
            return


class TakeInThread:
    """`wake` returns at once. Resumes at start whatever an earlier process left. A fault is logged and tried again."""

    def __init__(self, runtime: Runtime) -> None:
        self._runtime = runtime
        self._woken = threading.Event()
        self._stopping = threading.Event()
        self._thread = threading.Thread(target=self._run, name="take-in", daemon=True)

    def start(self) -> None:
        self._woken.set()
        self._thread.start()

    def wake(self) -> None:
        self._woken.set()

    def stop(self) -> None:
        self._stopping.set()
        self._woken.set()
        self._thread.join()

    def _run(self) -> None:
        while not self._stopping.is_set():
            self._woken.wait(LOOK_EVERY_SECONDS)
            self._stopping.wait(GATHER_SECONDS)
            self._woken.clear()
            try:
                self._work()
            except DBAPIError as problem:
                log.error("intake stopped for now, nothing is lost: %s", type(problem.orig).__name__)
            except Exception as problem:
                log.error("intake stopped for now; what is stored stays stored: %s", type(problem).__name__)

    def _work(self) -> None:
        """Answers first; sheets once nothing more has come in for a moment."""
        runtime = self._runtime
        record_waiting(runtime.store, runtime.keys, runtime.library, now=runtime.now())
        if not self._woken.wait(QUIET_SECONDS):
            publish_stale(runtime, self._woken.is_set)
