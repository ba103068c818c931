"""Received envelopes become responses, or flags where they hold a notice: opened, checked, scored, recorded, and the timepoint's
transition; or held with a reason.

1. A batch of received envelopes is read, oldest first, and goes through the steps in one transaction: a few statements for all.
2. If that transaction fails, each envelope is tried in one of its own, so that none holds up the rest.

Runs after each post, at start, and every half minute; safe to run twice and beside another. Due sheets are published by who calls this.
"""

import logging
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from sqlalchemy import bindparam, select
from sqlalchemy.exc import InterfaceError, OperationalError
from sqlalchemy.orm import Session

from scoring.library import Library
from server.intake.check import CheckedBy, CheckedForm, check_opened
from server.intake.hold import Held, hold
from server.intake.notices import CheckedNotice, check_notices, record_notices
from server.intake.open import Keys, OpenedForm, OpenedNotice, open_envelopes
from server.intake.responses import Recorded, record_responses
from server.intake.score_form import score_form
from server.models import Envelope
from server.queries.clock import clinic_day, the_clinic
from server.store.bulk import update_rows
from server.store.engine import Store
from server.timepoints.clocks import record_answered
from server.timepoints.plans import read_plans

log = logging.getLogger(__name__)
BATCH = 200
TRIES_ALONE = 2
# Disk full, lost connection, deadlock. Any other error of the database is about one envelope, such as a value it refuses.
DATABASE_GONE = (OperationalError, InterfaceError)
BODY_CONTEXT = "envelope.body"
_RECEIVED = (
    select(Envelope)
    .where(Envelope.state == "received")
    .order_by(Envelope.id)
    .limit(bindparam("at_once"))
    .with_for_update(skip_locked=True)
)


@dataclass(frozen=True)
class Processed:
    """What became of some envelopes. One that another process has at the moment is in no list."""

    recorded: Sequence[Recorded] = ()
    noted: Sequence[CheckedNotice] = ()
    held: Sequence[Held] = ()


@dataclass
class IntakeCounts:
    """`recorded`: forms that became responses and notices that became flags."""

    recorded: int = 0
    held: int = 0

    def add(self, processed: Processed) -> None:
        self.recorded += len(processed.recorded) + len(processed.noted)
        self.held += len(processed.held)

    @property
    def all(self) -> int:
        return self.recorded + self.held


def process_batches(
    store: Store, keys: Keys, library: Library, *, now: datetime, interrupted: Callable[[], bool] = lambda: False
) -> IntakeCounts:
    """Works until no received envelope is left, or until interrupted after a batch."""
    counts = IntakeCounts()
    while not interrupted():
        try:
            with store.writing() as session:
                envelopes = _received(session)
                done = [process_batch(session, envelopes, keys, library, now=now)]
        except DATABASE_GONE:
            raise  # no fault of these envelopes; everything stays received
        except Exception as problem:  # the batch is rolled back; one by one finds the one that does it
            log.error("intake: a batch failed (%s); trying its envelopes one by one", type(problem).__name__)
            done = _process_one_by_one(store, keys, library, now)
        before = counts.all
        for each in done:
            counts.add(each)
        if counts.all - before < BATCH:
            break  # what comes in meanwhile wakes the next run
    return counts


def process_batch(
    session: Session, envelopes: Sequence[Envelope], keys: Keys, library: Library, *, now: datetime
) -> Processed:
    """The steps in their order, within the caller's transaction."""
    if not envelopes:
        return Processed()
    clinic = the_clinic(session)
    by = CheckedBy(library, read_plans(session), clinic, now)

    opened = open_envelopes(session, envelopes, keys, now=now)
    checked = check_opened(session, [each for each in opened if isinstance(each, OpenedForm)], keys, by)
    notices = check_notices(session, [each for each in opened if isinstance(each, OpenedNotice)], keys)
    scored = [score_form(each, library) for each in checked if isinstance(each, CheckedForm)]
    recorded = record_responses(session, scored, now=now)
    answered = [each.answered() for each in recorded if each.counted]
    record_answered(session, answered, today=clinic_day(clinic, now), now=now)

    noted = [each for each in notices if isinstance(each, CheckedNotice)]
    record_notices(session, noted, now=now)

    held = [each for each in (*opened, *checked, *notices) if isinstance(each, Held)]
    hold(session, held)
    done: list[CheckedForm | CheckedNotice] = [*(each.form for each in recorded), *noted]
    update_rows(session, [(each.envelope, _recorded_values(each)) for each in done if each.envelope])
    return Processed(recorded, noted, held)


def _recorded_values(done: CheckedForm | CheckedNotice) -> dict[str, Any]:
    """Once opened, the bytes lie under the patient's own key."""
    body = done.envelope.body if done.envelope else b""
    return {
        "body": done.cipher.seal(body, BODY_CONTEXT),
        "body_wrapped": True,
        "state": "recorded",
        "held_reason": None,
        "held_detail": None,
        "held_form_id": None,
        "held_notice": None,
    }


def _received(session: Session) -> list[Envelope]:
    return list(session.scalars(_RECEIVED, {"at_once": BATCH}))


def _process_one_by_one(store: Store, keys: Keys, library: Library, now: datetime) -> list[Processed]:
    with store.reading() as session:
        received = select(Envelope.id).where(Envelope.state == "received").order_by(Envelope.id).limit(BATCH)
        ids = list(session.scalars(received))
    return [_process_alone(store, envelope_id, keys, library, now) for envelope_id in ids]


def _process_alone(store: Store, envelope_id: int, keys: Keys, library: Library, now: datetime) -> Processed:
    """In a transaction of its own. A fault that comes twice is the envelope's own, and holds it."""
    fault = ""
    for _try in range(TRIES_ALONE):
        try:
            with store.writing() as session:
                return process_batch(session, _still_received(session, envelope_id), keys, library, now=now)
        except DATABASE_GONE:
            raise
        except Exception as problem:
            fault = type(problem).__name__
    log.error("intake: envelope row %d failed (%s) and is held", envelope_id, fault)
    with store.writing() as session:
        held = [Held(envelope, "fault", fault) for envelope in _still_received(session, envelope_id)]
        hold(session, held)
    return Processed(held=held)


def _still_received(session: Session, envelope_id: int) -> list[Envelope]:
    """The envelope, locked; nothing when another process has it or was faster."""
    wanted = select(Envelope).where(Envelope.id == envelope_id, Envelope.state == "received")
    return list(session.scalars(wanted.with_for_update(skip_locked=True)))
