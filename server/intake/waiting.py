"""Takes received envelopes to responses. Runs after each post, at start, and every half minute; safe to run twice.

1. A batch of received envelopes is read, oldest first.
2. Each is opened, checked, scored and recorded; what fails is held with its reason. Nothing is dropped.
3. All of it is one transaction. If that transaction fails, each envelope is tried in one of its own, so that none holds up the rest.
"""

import json
import logging
from collections.abc import Sequence
from dataclasses import dataclass, field
from datetime import datetime
from typing import Any

from sqlalchemy import select, update
from sqlalchemy.exc import InterfaceError, OperationalError
from sqlalchemy.orm import Session, joinedload

from scoring.library import Library
from server.crypto.envelope import EnvelopeProblem
from server.intake.open import Keys, Opener
from server.intake.payload import AnswersNotValid, Payload
from server.intake.record import Filled, Source, check_form, record_forms
from server.models import Clinic, Envelope, GateFetch, Link, Timepoint
from server.queries.clock import clinic_day, the_clinic
from server.schedule.window import clamp_finished
from server.store.bulk import update_rows
from server.store.engine import Store
from server.timepoints.plans import PlanUnusable, read_plans
from server.trust.audit import audit

log = logging.getLogger(__name__)
BATCH = 200
# Disk full, lost connection, deadlock. Anything else that the database says speaks of one envelope.
DATABASE_GONE = (OperationalError, InterfaceError)
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
                done = take_all(session, _received(session), keys, library, now)
        except DATABASE_GONE:
            raise  # no fault of these envelopes; everything stays received
        except Exception as problem:  # the batch is rolled back; one by one finds the one that does it
            log.error("intake: a batch failed (%s); trying its envelopes one by one", type(problem).__name__)
            done = _one_by_one(store, keys, library, now)
        for patient_id in done:
            taken.recorded += patient_id is not None
            taken.held += patient_id is None
            taken.patients |= {patient_id} if patient_id is not None else set()
        if len(done) < BATCH:  # what comes in meanwhile wakes the next run
            return taken


def _received(session: Session) -> list[Envelope]:
    waiting = select(Envelope).where(Envelope.state == "received").order_by(Envelope.id).limit(BATCH)
    return list(session.scalars(waiting.with_for_update(skip_locked=True)))


def _one_by_one(store: Store, keys: Keys, library: Library, now: datetime) -> list[int | None]:
    with store.reading() as session:
        waiting = select(Envelope.id).where(Envelope.state == "received").order_by(Envelope.id).limit(BATCH)
        ids = list(session.scalars(waiting))
    return [done for envelope_id in ids for done in _alone(store, envelope_id, keys, library, now)]


def _alone(store: Store, envelope_id: int, keys: Keys, library: Library, now: datetime) -> list[int | None]:
    """What became of one envelope, empty when another worker has it. A fault that comes twice is the envelope's own."""
    fault = ""
    for _try in range(2):
        try:
            with store.writing() as session:
                row = _still_received(session, envelope_id)
                return [take_one(session, row, keys, library, now)] if row is not None else []
        except DATABASE_GONE:
            raise
        except Exception as problem:
            fault = type(problem).__name__
    log.error("intake: envelope row %d failed (%s) and is held", envelope_id, fault)
    with store.writing() as session:
        row = _still_received(session, envelope_id)
        if row is not None:
            _hold(row, "fault", fault)
    return [None] if row is not None else []


def _still_received(session: Session, envelope_id: int) -> Envelope | None:
    wanted = select(Envelope).where(Envelope.id == envelope_id, Envelope.state == "received")
    return session.scalars(wanted.with_for_update(skip_locked=True)).one_or_none()


def take_one(session: Session, row: Envelope, keys: Keys, library: Library, now: datetime) -> int | None:
    """The patient's id, or None when the envelope is held."""
    return take_all(session, [row], keys, library, now)[0]


def take_all(
    session: Session, rows: Sequence[Envelope], keys: Keys, library: Library, now: datetime
) -> list[int | None]:
    """For each envelope the patient's id, or None when it is held. A few statements for the whole batch."""
    if not rows:
        return []
    opener, clinic = Opener(session, rows, keys, now=now), _clinic(session)
    payloads = {row.id: payload for row in rows if (payload := _opened(row, opener))}
    opened = [row for row in rows if row.id in payloads]
    forms = _Forms(session, opened, list(payloads.values()))
    filled = [
        (row, form) for row in opened if (form := forms.fill(row, payloads[row.id], opener, library, clinic, now))
    ]
    record_forms(session, [form for _row, form in filled], library=library, today=clinic_day(clinic, now), now=now)
    update_rows(session, [(row, _recorded(row, form)) for row, form in filled])
    session.flush()
    answered = {form.timepoint.patient_id for _row, form in filled}
    stale = update(Link).where(Link.patient_id.in_(answered), Link.ended_at.is_(None)).values(sheet_stale=True)
    session.execute(stale.execution_options(synchronize_session=False))
    done = {row.id: form.timepoint.patient_id for row, form in filled}
    return [done.get(row.id) for row in rows]


def _opened(row: Envelope, opener: Opener) -> Payload | None:
    try:
        return opener.open(row)
    except AnswersNotValid as problem:
        _hold(row, problem.reason, json.dumps(problem.problems, ensure_ascii=False))
    except EnvelopeProblem as problem:
        _hold(row, problem.reason, None)
    return None


def _recorded(row: Envelope, form: Filled) -> dict[str, Any]:
    """Once opened, the bytes lie under the patient's own key."""
    return {
        "body": form.cipher.seal(row.body, BODY_CONTEXT),
        "body_wrapped": True,
        "state": "recorded",
        "held_reason": None,
        "held_detail": None,
    }


class _Forms:
    """The timepoints and first fetches that a batch of opened envelopes speaks of."""

    def __init__(self, session: Session, rows: Sequence[Envelope], payloads: Sequence[Payload]) -> None:
        wanted = select(Timepoint).where(Timepoint.form_id.in_({payload.form_id for payload in payloads}))
        loaded = wanted.options(joinedload(Timepoint.follow_up))
        self._timepoints = {row.form_id: row for row in session.scalars(loaded)}
        fetches = select(GateFetch).where(GateFetch.lookup_hash.in_({row.lookup_hash for row in rows}))
        self._plans = read_plans(session)
        self._fetched = {(row.lookup_hash, row.revision): row.fetched_at for row in session.scalars(fetches)}

    def fill(
        self, row: Envelope, payload: Payload, opener: Opener, library: Library, clinic: Clinic, now: datetime
    ) -> Filled | None:
        """The checked form, or None when the envelope was held."""
        try:
            timepoint = self._timepoints.get(payload.form_id)
            if timepoint is None or timepoint.patient_id != opener.patient_id(row):
                raise EnvelopeProblem("unknown_form")
            source, cipher = self._source(row, payload), opener.cipher(row)
            return check_form(
                timepoint, payload.parts, source, cipher, library=library, plans=self._plans, clinic=clinic, now=now
            )
        except PlanUnusable as problem:
            _hold(row, "plan_unusable", str(problem))
        except AnswersNotValid as problem:
            _hold(row, problem.reason, json.dumps(problem.problems, ensure_ascii=False))
        except EnvelopeProblem as problem:
            _hold(row, problem.reason, None)
        return None

    def _source(self, row: Envelope, payload: Payload) -> Source:
        fetched_at = self._fetched.get((row.lookup_hash, payload.sheet_revision))
        finished_at = clamp_finished(
            payload.finished_at, fetched_at, row.received_at, clock_skew_ms=payload.clock_skew_ms
        )
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


def _clinic(session: Session) -> Clinic:
    found = session.identity_map.get(session.identity_key(Clinic, 1))
    return found if isinstance(found, Clinic) else the_clinic(session)


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
