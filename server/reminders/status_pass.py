"""Timepoints on which the calendar has turned: opened, fell due, closed. Their patients' due sheets are published again."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta

from sqlalchemy import Select, select, update
from sqlalchemy.orm import Session

from server.models import Patient, Timepoint
from server.reminders.chunks import in_chunks
from server.reminders.failures import kind_and_place, log
from server.reminders.link_service import LinkService
from server.schedule.status import WAITING
from server.store.engine import Store
from server.timepoints.transitions import last_status, look_again


@dataclass
class StatusCounts:
    turned: int = 0
    published: int = 0
    failed: int = 0


def update_statuses(store: Store, link_service: LinkService, *, now: datetime, today: date) -> StatusCounts:
    """Looks at every timepoint whose `look_again_on` has come. What cannot be worked on is put off by a day and counted."""
    report = StatusCounts()
    for patients in in_chunks(store, lambda last: _patients_after(last, today)):
        with store.writing() as session:
            for patient_id in patients:
                _update_patient(session, link_service, patient_id, report, now=now, today=today)
    return report


def _patients_after(last: int, today: date) -> Select[int]:
    due = (Timepoint.done_at.is_(None), Timepoint.look_again_on <= today)
    return (
        select(Timepoint.patient_id).where(*due, Timepoint.patient_id > last).order_by(Timepoint.patient_id).distinct()
    )


def _update_patient(
    session: Session, link_service: LinkService, patient_id: int, report: StatusCounts, *, now: datetime, today: date
) -> None:
    """Changes and the sheet that shows them stand or fall together: a sheet left behind would never be found again."""
    rows = session.scalars(
        select(Timepoint)
        .where(Timepoint.patient_id == patient_id, Timepoint.done_at.is_(None), Timepoint.look_again_on <= today)
        .order_by(Timepoint.id)
        .with_for_update(skip_locked=True)  # PostgreSQL: another pass has them, and its changes would be written twice
    ).all()
    ids = [row.id for row in rows]
    try:
        with session.begin_nested():
            turns = [_update(session, row, report, now=now, today=today) for row in rows]
            if any(turns):
                patient = session.get_one(Patient, patient_id)
                report.published += link_service.publish(session, patient, now=now, today=today)
    except Exception as problem:
        log.error("patient %s is put off by a day: %s", patient_id, kind_and_place(problem))
        report.failed += 1
        _put_off(session, ids, today)


def _update(session: Session, row: Timepoint, report: StatusCounts, *, now: datetime, today: date) -> bool:
    """True when what the patient has to answer changed: it opened, or closed."""
    row_id = row.id
    try:
        with session.begin_nested():
            before = last_status(session, row)
            after = look_again(session, row, today=today, now=now)
    except Exception as problem:
        log.error("timepoint %s is put off by a day: %s", row_id, kind_and_place(problem))
        report.failed += 1
        _put_off(session, [row_id], today)
        return False
    report.turned += before != after
    return (before in WAITING) != (after in WAITING)


def _put_off(session: Session, ids: Sequence[int], today: date) -> None:
    tomorrow = today + timedelta(days=1)
    session.execute(update(Timepoint).where(Timepoint.id.in_(ids)).values(look_again_on=tomorrow))
