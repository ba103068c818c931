"""Takes received envelopes to responses. Runs after each post, at start, and every half minute; safe to run twice.

1. A batch of received envelopes is read, oldest first.
2. Each is opened, checked, scored and recorded; what fails is held with its reason. Nothing is dropped.
3. All of it is one transaction. If that transaction fails, each envelope is tried in one of its own, so that none holds up the rest.
"""

import json
import logging
from dataclasses import dataclass, field
from datetime import datetime

from sqlalchemy import select
from sqlalchemy.exc import DBAPIError
from sqlalchemy.orm import Session

from scoring.library import Library
from server.crypto.envelope import EnvelopeProblem
from server.crypto.fields import PatientCipher
from server.intake.open import Keys, open_waiting
from server.intake.payload import AnswersNotValid, Payload
from server.intake.record import Source, record_form
from server.models import Clinic, Envelope, GateFetch, Link, Patient, Timepoint
from server.models.clock import the_clinic
from server.models.store import Store
from server.schedule.window import clamp_finished
from server.trust.audit import audit

log = logging.getLogger(__name__)
BATCH = 100
BODY_CONTEXT = "envelope.body"


@dataclass
class Taken:
    """What one run did. `patients` are those whose due sheet may have changed."""

    recorded: int = 0
    held: int = 0
    patients: set[int] = field(default_factory=set)


def record_waiting(store: Store, keys: Keys, library: Library, *, now: datetime) -> Taken:
    """Works until no received envelope is left."""
    taken = Taken()
    while True:
        try:
            with store.writing() as session:
                rows = _received(session)
                done = [take_one(session, row, keys, library, now) for row in rows]
        except Exception as problem:  # the batch is rolled back; one by one finds the one that does it
            log.error("intake: a batch failed (%s); trying its envelopes one by one", type(problem).__name__)
            done = _one_by_one(store, keys, library, now)
        for patient_id in done:
            taken.recorded += patient_id is not None
            taken.held += patient_id is None
            taken.patients |= {patient_id} if patient_id is not None else set()
        if not done:
            return taken


def _received(session: Session) -> list[Envelope]:
    waiting = (
        select(Envelope)
        .where(Envelope.state == "received")
        .order_by(Envelope.id)
        .limit(BATCH)
        .with_for_update(skip_locked=True)
    )
    return list(session.scalars(waiting))


def _one_by_one(store: Store, keys: Keys, library: Library, now: datetime) -> list[int | None]:
    with store.reading() as session:
        ids = [row.id for row in _waiting_ids(session)]
    done: list[int | None] = []
    for envelope_id in ids:
        try:
            with store.writing() as session:
                row = session.get_one(Envelope, envelope_id)
                if row.state == "received":
                    done.append(take_one(session, row, keys, library, now))
        except DBAPIError:
            raise  # disk full, lost connection: no fault of this envelope; everything stays received
        except Exception as problem:
            log.exception("intake: envelope row %d failed", envelope_id)
            with store.writing() as session:
                _hold(session.get_one(Envelope, envelope_id), "fault", type(problem).__name__)
            done.append(None)
    return done


def _waiting_ids(session: Session) -> list[Envelope]:
    return list(
        session.scalars(select(Envelope).where(Envelope.state == "received").order_by(Envelope.id).limit(BATCH))
    )


def take_one(session: Session, row: Envelope, keys: Keys, library: Library, now: datetime) -> int | None:
    """The patient's id, or None when the envelope is held."""
    link = session.scalars(select(Link).where(Link.lookup_hash == row.lookup_hash)).one_or_none()
    try:
        payload = open_waiting(session, row, link, keys, now=now)
        patient_id = link.patient_id if link else 0
        timepoint = _timepoint(session, payload, patient_id)
        cipher = _cipher(session, patient_id, keys)
        source = _source(session, row, payload)
        record_form(
            session, timepoint, payload.parts, source, library=library, clinic=_clinic(session), cipher=cipher, now=now
        )
    except AnswersNotValid as problem:
        _hold(row, problem.reason, json.dumps(problem.problems, ensure_ascii=False))
        return None
    except EnvelopeProblem as problem:
        _hold(row, problem.reason, None)
        return None
    row.body, row.body_wrapped = cipher.seal(row.body, BODY_CONTEXT), True
    row.state, row.held_reason, row.held_detail = "recorded", None, None
    session.flush()
    return patient_id


def _clinic(session: Session) -> Clinic:
    found = session.identity_map.get(session.identity_key(Clinic, 1))
    return found if isinstance(found, Clinic) else the_clinic(session)


def _timepoint(session: Session, payload: Payload, patient_id: int) -> Timepoint:
    found = session.scalars(select(Timepoint).where(Timepoint.form_id == payload.form_id)).one_or_none()
    if found is None or found.patient_id != patient_id:
        raise EnvelopeProblem("unknown_form")
    return found


def _cipher(session: Session, patient_id: int, keys: Keys) -> PatientCipher:
    handle = session.scalars(select(Patient.handle).where(Patient.id == patient_id)).one()
    try:
        return keys.patient_cipher(handle)
    except LookupError as problem:
        raise EnvelopeProblem("erased") from problem


def _source(session: Session, row: Envelope, payload: Payload) -> Source:
    fetched = session.get(GateFetch, (row.lookup_hash, payload.sheet_revision))
    fetched_at = fetched.fetched_at if fetched else None
    finished_at = clamp_finished(payload.finished_at, fetched_at, row.received_at, clock_skew_ms=payload.clock_skew_ms)
    return Source(
        mode=payload.mode,
        answered_by=payload.answered_by,
        language=payload.language,
        finished_at=finished_at,
        received_at=row.received_at,
        envelope_id=row.id,
        opened_at=payload.opened_at,
        phone_finished_at=payload.finished_at,
        utc_offset_minutes=payload.utc_offset_minutes,
        time_zone=payload.time_zone,
        clock_skew_ms=payload.clock_skew_ms,
        build=payload.build,
        device=payload.device,
    )


def _hold(row: Envelope, reason: str, detail: str | None) -> None:
    row.state, row.held_reason, row.held_detail = "held", reason, detail


def try_again(session: Session, row: Envelope, *, now: datetime, by_id: int | None = None) -> None:
    """A person put right what held it (a key brought back, a corrected birth date): the next run takes it again."""
    if row.state == "held":
        if row.held_reason == "same_id_other_content":
            row.same_id_other_content = False  # the person looked at both and lets this one count as a repeat
        row.state = "received"
        audit(session, "envelope:tried_again", f"envelope {row.id}", now=now, by_id=by_id, reason=row.held_reason)


def settle(session: Session, row: Envelope, *, now: datetime, by_id: int | None = None) -> None:
    """A person decided that nothing more can come of it. The bytes stay."""
    if row.state == "held":
        row.state, row.settled_at = "settled", now
        audit(session, "envelope:settled", f"envelope {row.id}", now=now, by_id=by_id, reason=row.held_reason)
