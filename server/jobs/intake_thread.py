"""The one thread that does intake, woken by each post."""

import logging
import threading

from sqlalchemy.exc import DBAPIError

from server.installation.runtime import Runtime
from server.intake.process import process_batches
from server.jobs.intake import publish_stale_sheets

log = logging.getLogger(__name__)
LOOK_EVERY_SECONDS = 30
QUIET_SECONDS = 0.5
# One transaction for what several phones send at once: a batch costs much the same for five envelopes as for fifty.
GATHER_SECONDS = 0.05


class IntakeThread:
    """`wake` returns at once. Resumes at start whatever an earlier process left. A fault is logged and tried again."""

    def __init__(self, runtime: Runtime) -> None:
        self._runtime = runtime
        self._woken = threading.Event()
        self._stopping = threading.Event()
        self._thread = threading.Thread(target=self._run, name="intake", daemon=True)

    def start(self) -> None:
        self._woken.set()
        self._thread.start()

    def wake(self) -> None:
        self._woken.set()

    def stop(self) -> None:
        """Returns when the batch in hand is finished; what is left waits for the next start."""
        self._stopping.set()
        self._woken.set()
        self._thread.join()

    def _run(self) -> None:
        while not self._stopping.is_set():
            self._woken.wait(LOOK_EVERY_SECONDS)
            self._stopping.wait(GATHER_SECONDS)
            # Cleared before the work: a post that comes during it wakes the next round.
            self._woken.clear()
            try:
                self._process()
            except DBAPIError as problem:
                log.error("intake stopped for now, nothing is lost: %s", type(problem.orig).__name__)
            except Exception as problem:
                log.error("intake stopped for now; what is stored stays stored: %s", type(problem).__name__)

    def _process(self) -> None:
        """Answers first; sheets once nothing more has come in for a moment."""
        runtime = self._runtime
        counts = process_batches(
            runtime.store, runtime.keys, runtime.library, now=runtime.now(), interrupted=self._stopping.is_set
        )
        if counts.all:
            log.info("intake", extra={"counts": {"recorded": counts.recorded, "held": counts.held}})
        if not self._woken.wait(QUIET_SECONDS):
            publish_stale_sheets(runtime, self._woken.is_set)
