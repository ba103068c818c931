"""Intake as a whole: what was received becomes responses, and the due sheets of those who answered are published again."""

from collections.abc import Callable

from sqlalchemy import select

from server.installation.runtime import Runtime
from server.intake.process import IntakeCounts, process_batches
from server.links.publish import publish_sheet
from server.models import Link, Patient
from server.queries.clock import clinic_day, clinic_now, the_clinic

SHEETS_AT_ONCE = 10


def process_received(runtime: Runtime) -> IntakeCounts:
    """Records all that was received and publishes what changed. Safe to run at any time and beside another."""
    counts = process_batches(runtime.store, runtime.keys, runtime.library, now=runtime.now())
    publish_stale_sheets(runtime)
    return counts


def publish_stale_sheets(runtime: Runtime, interrupted: Callable[[], bool] = lambda: False) -> None:
    """Re-seals the sheets that still ask for what was answered, a few in a transaction; stops early when interrupted.

    Each is marked in its row, in the transaction that wrote the answer, so that a killed server goes on where it was.
    """
    while not interrupted():
        with runtime.store.writing() as session:
            stale = select(Link.patient_id).where(Link.sheet_stale, Link.ended_at.is_(None)).limit(SHEETS_AT_ONCE)
            patient_ids = list(session.scalars(stale))
            if not patient_ids:
                return
            clinic = the_clinic(session)
            now = clinic_now(clinic, runtime.real_clock())
            for patient in session.scalars(select(Patient).where(Patient.id.in_(patient_ids))):
                publish_sheet(session, patient, library=runtime.library, now=now, today=clinic_day(clinic, now))
        if len(patient_ids) < SHEETS_AT_ONCE:
            return
