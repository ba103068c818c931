"""Takes stored envelopes in, then brings the due sheets of those patients up to date. One thread does it, woken by each post."""

import logging
import threading

from sqlalchemy.exc import DBAPIError

from server.intake.waiting import Taken, record_waiting
from server.links.publish import publish_sheet
from server.models import Patient
from server.models.clock import clinic_day, clinic_now, the_clinic
from server.runtime import Runtime

log = logging.getLogger(__name__)
LOOK_EVERY_SECONDS = 30


def take_in(runtime: Runtime) -> Taken:
    """Records all that waits and publishes what changed. Safe to run at any time and beside another."""
    taken = record_waiting(runtime.store, runtime.keys, runtime.library, now=runtime.now())
    publish_for(runtime, taken.patients)
    return taken


def publish_for(runtime: Runtime, patient_ids: set[int]) -> int:
    """Re-seals the due sheets of these patients, one short transaction each; returns how many changed."""
    changed = 0
    for patient_id in sorted(patient_ids):
        with runtime.store.writing() as session:
            clinic = the_clinic(session)
            now = clinic_now(clinic, runtime.real_clock())
            patient = session.get_one(Patient, patient_id)
            changed += publish_sheet(session, patient, library=runtime.library, now=now, today=clinic_day(clinic, now))
    return changed


class TakeInThread:
    """`wake` returns at once. Resumes at start whatever an earlier process left. A fault is logged and tried again."""

    def __init__(self, runtime: Runtime) -> None:
        self._runtime = runtime
        self._woken = threading.Event()
        self._stopping = False
        self._thread = threading.Thread(target=self._run, name="take-in", daemon=True)

    def start(self) -> None:
        self._woken.set()
        self._thread.start()

    def wake(self) -> None:
        self._woken.set()

    def stop(self) -> None:
        self._stopping = True
        self._woken.set()
        self._thread.join()

    def _run(self) -> None:
        while not self._stopping:
            self._woken.wait(LOOK_EVERY_SECONDS)
            self._woken.clear()
            try:
                take_in(self._runtime)
            except DBAPIError as problem:
                log.error("intake stopped for now, nothing is lost: %s", type(problem.orig).__name__)
            except Exception:
                log.exception("intake stopped for now; what is stored stays stored")
