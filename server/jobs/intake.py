"""Intake as a whole: what was received becomes responses, and the due sheets of those who answered are published again."""

import logging
from collections.abc import Callable, Sequence

from sqlalchemy import bindparam, select
from sqlalchemy.orm import Session

from server.clinic.lost import undo_by_answers
from server.installation.runtime import Runtime
from server.intake.process import DATABASE_GONE, IntakeCounts, process_batches
from server.links.publish import NoSealingKey, publish_sheets
from server.models import Link, Patient
from server.queries.clock import clinic_day, clinic_now, the_clinic
from server.queries.current import LIVE_LINK
from server.queries.restored import waits_for_release
from server.reminders.failures import kind_and_place

log = logging.getLogger("yearmark.jobs")
SHEETS_AT_ONCE = 10
_STALE = (
    select(Link.patient_id)
    .where(Link.sheet_stale, LIVE_LINK, Link.patient_id > bindparam("last"))
    .order_by(Link.patient_id)
    .limit(bindparam("at_once"))
)
_PATIENTS = select(Patient).where(Patient.id.in_(bindparam("patients", expanding=True))).order_by(Patient.id)


def process_received(runtime: Runtime) -> IntakeCounts:
    """Records all that was received and publishes what changed. Safe to run at any time and beside another."""
    counts = process_batches(runtime.store, runtime.keys, runtime.library, now=runtime.now())
    if counts.recorded:
        # A server killed before this finds it at the next tick.
        with runtime.store.writing() as session:
            undo_by_answers(session, now=runtime.now())
    publish_stale_sheets(runtime)
    return counts


def take_in_what_a_copy_held(runtime: Runtime) -> None:
    """On a restored clinic, before its first phone is served: what came in just before the copy was made is in it unread, and the sheets in
    the copy ask for it, so that patients would answer twice.

    A fault keeps no clinic from starting: nothing is lost, and the intake thread tries again.
    """
    try:
        with runtime.store.reading() as session:
            restored = waits_for_release(session) is not None
        if restored:
            process_received(runtime)
    except Exception as problem:
        log.error("what the copy held unread is not taken in yet: %s", kind_and_place(problem))


def publish_stale_sheets(runtime: Runtime, interrupted: Callable[[], bool] = lambda: False) -> None:
    """Re-seals the sheets that no longer say what is so, a few in a transaction; stops early when interrupted.

    Each is marked in its row, in the transaction that changed what it says, so that a killed server goes on where it was. One that
    cannot be sealed stays marked for the next call, and holds up no other.
    """
    last = 0
    while not interrupted():
        with runtime.store.writing() as session:
            patient_ids = list(session.scalars(_STALE, {"last": last, "at_once": SHEETS_AT_ONCE}))
            if patient_ids:
                _publish(session, runtime, patient_ids)
        if len(patient_ids) < SHEETS_AT_ONCE:
            return
        last = patient_ids[-1]


def _publish(session: Session, runtime: Runtime, patient_ids: Sequence[int]) -> None:
    """All of them in a few statements. If that fails each alone finds the one that does it."""
    clinic = the_clinic(session)
    now = clinic_now(clinic, runtime.real_clock())
    try:
        with session.begin_nested():
            patients = session.scalars(_PATIENTS, {"patients": patient_ids}).all()
            publish_sheets(session, patients, library=runtime.library, now=now, today=clinic_day(clinic, now))
    except (*DATABASE_GONE, NoSealingKey):
        raise  # no fault of this patient's
    except Exception as problem:
        if len(patient_ids) > 1:
            for patient_id in patient_ids:
                _publish(session, runtime, [patient_id])
            return
        log.error("the due sheet of patient %s is not published: %s", *patient_ids, kind_and_place(problem))
