"""Timepoints on which the calendar has turned: opened, fell due, closed. Their patients' due sheets are published again."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta

from sqlalchemy import Date, and_, bindparam, select, update
from sqlalchemy.orm import Session

from server.models import Patient, Timepoint
from server.reminders.chunks import AT_ONCE, LAST, in_chunks
from server.reminders.failures import kind_and_place, log
from server.reminders.link_service import LinkService
from server.schedule.status import WAITING, Status
from server.store.engine import Store
from server.timepoints.transitions import last_statuses, turn

_DUE = and_(Timepoint.done_at.is_(None), Timepoint.look_again_on <= bindparam("today", type_=Date))
_PATIENTS = (
    select(Timepoint.patient_id)
    .where(_DUE, Timepoint.patient_id > LAST)
    .order_by(Timepoint.patient_id)
    .distinct()
    .limit(AT_ONCE)
)
# PostgreSQL: what another pass has is skipped, or its changes would be written twice.
_ROWS = (
    select(Timepoint)
    .where(_DUE, Timepoint.patient_id.in_(bindparam("patients", expanding=True)))
    .order_by(Timepoint.id)
    .with_for_update(skip_locked=True)
)


@dataclass
class StatusCounts:
    turned: int = 0
    published: int = 0
    failed: int = 0


def update_statuses(store: Store, link_service: LinkService, *, now: datetime, today: date) -> StatusCounts:
    """Looks at every timepoint whose `look_again_on` has come. What cannot be worked on is put off by a day and counted."""
    report = StatusCounts()
    for patients in in_chunks(store, _PATIENTS, {"today": today}):
        with store.writing() as session:
            _update_patients(session, link_service, patients, report, now=now, today=today)
    return report


def _update_patients(
    session: Session,
    link_service: LinkService,
    patients: Sequence[int],
    report: StatusCounts,
    *,
    now: datetime,
    today: date,
) -> None:
    """All of them in a few statements. If that fails each alone finds the one that does it, and holds up no other."""
    try:
        with session.begin_nested():
            found = _turn(session, link_service, patients, now=now, today=today)
    except Exception as problem:
        if len(patients) > 1:
            for patient_id in patients:
                _update_patients(session, link_service, [patient_id], report, now=now, today=today)
            return
        log.error("patient %s is put off by a day: %s", patients[0], kind_and_place(problem))
        report.failed += 1
        _put_off(session, patients, today)
        return
    report.turned += found.turned
    report.published += found.published
    report.failed += found.failed


def _turn(
    session: Session, link_service: LinkService, patients: Sequence[int], *, now: datetime, today: date
) -> StatusCounts:
    """Changes and the sheets that show them stand or fall together: a sheet left behind would never be found again."""
    rows = session.scalars(_ROWS, {"patients": patients, "today": today}).all()
    known, counts, changed = last_statuses(session, [row.id for row in rows]), StatusCounts(), set[int]()
    for row in rows:
        before = known.get(row.id, Status.UPCOMING)
        try:
            after = turn(session, row, before, today=today, now=now)
        except ValueError as problem:
            log.error("timepoint %s is put off by a day: %s", row.id, kind_and_place(problem))
            counts.failed += 1
            row.look_again_on = today + timedelta(days=1)
            continue
        counts.turned += before != after
        if (before in WAITING) != (after in WAITING):  # what the patient has to answer: it opened, or closed
            changed.add(row.patient_id)
    session.flush()
    if changed:
        of_changed = session.scalars(select(Patient).where(Patient.id.in_(changed)).order_by(Patient.id)).all()
        counts.published = link_service.publish(session, of_changed, now=now, today=today)
    return counts


def _put_off(session: Session, patients: Sequence[int], today: date) -> None:
    due = (Timepoint.patient_id.in_(patients), Timepoint.done_at.is_(None), Timepoint.look_again_on <= today)
    session.execute(update(Timepoint).where(*due).values(look_again_on=today + timedelta(days=1)))
