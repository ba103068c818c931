"""Rebuilds scores from the stored answers, by the definitions and the scoring version of this program.

1. A batch of responses is read without the lock, opened and scored by the instrument versions and texts they were answered with
   (`server/intake/rebuild.py`). A response that cannot be scored is left alone, with the reason.
2. Where a score differs from the stored one, the old row is superseded and a new one added: one short write transaction for a batch, so
   that a running server gets its turn after each. No row is altered but for `superseded_at`, and none is deleted.
3. If somebody changed these rows in between, nothing of the batch is written and its patients are read again.

A run that is killed leaves each response wholly old or wholly new, and the next run finds what is left. All that one run wrote bears the
same instant.
"""

from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime

from sqlalchemy import func, select
from sqlalchemy.exc import IntegrityError
from sqlalchemy.orm import Session

from scoring.library import Library
from scoring.score import SCORING_VERSION
from server.intake.open import Keys
from server.intake.rebuild import find_changes, next_patients
from server.intake.score_changes import Batch, RescoreSummary
from server.intake.scores import ScoreRow
from server.models import Patient, Response, Score
from server.store.bulk import bound, insert_tuples, supersede
from server.store.engine import Store
from server.trust.audit import audit

AT_ONCE = 200
TRIES = 3


class RescoreProblem(RuntimeError):
    """The run stopped; the message says what was done and what to do."""


class _Overtaken(Exception):
    """A row that was to be superseded is so already, or its patient was erased."""


def count_responses(store: Store) -> int:
    with store.reading() as session:
        return session.scalar(select(func.count(Response.id))) or 0


def rescore(
    store: Store,
    keys: Keys,
    library: Library,
    *,
    now: datetime,
    check: bool = False,
    report: Callable[[Batch], None] = lambda _batch: None,
    progress: Callable[[Batch], None] = lambda _batch: None,
    at_once: int = AT_ONCE,
) -> RescoreSummary:
    """Rebuilds every score, a batch after the other. With `check` nothing is written.

    `report` is called for each batch just before it is committed, under the lock, and prevents that by raising: a change that is not
    reported is not made, while one that is reported may not be made after all, and is found again by the next run. `progress` is called
    after the commit.

    Raises RescoreProblem when other programs keep changing the same rows, or when a newer one made some of them.
    """
    _refuse_newer(store)
    run, summary, after = _Run(store, keys, library, now, report), RescoreSummary(), 0
    while (batch := run.read_next(after, at_once)) is not None:
        if batch.changes and not check:
            batch = run.write(batch, first=not summary.groups)
        else:
            report(batch)
        summary.add(batch)
        progress(batch)
        after = batch.patients.last
    if not check:
        with store.writing() as session:
            _audit(session, "scores:rebuilt", now, **summary.counts())
    return summary


@dataclass(frozen=True)
class _Run:
    store: Store
    keys: Keys
    library: Library
    now: datetime
    report: Callable[[Batch], None]

    def read_next(self, after: int, at_once: int) -> Batch | None:
        with self.store.reading() as session:
            patients = next_patients(session, after=after, at_once=at_once)
            return None if patients is None else find_changes(session, patients, self.keys, self.library)

    def write(self, batch: Batch, *, first: bool) -> Batch:
        """What was written: the batch, or what its patients' rows needed when they were read again."""
        for _try in range(TRIES):
            try:
                with self.store.writing() as session:
                    if first:  # so that a run that was killed is in the audit trail too
                        _audit(session, "scores:rebuild_begun", self.now)
                    _replace_scores(session, batch, self.now)
                    self.report(batch)
                return batch
            except (_Overtaken, IntegrityError):
                with self.store.reading() as session:
                    batch = find_changes(session, batch.patients, self.keys, self.library)
                if not batch.changes:
                    self.report(batch)
                    return batch
        raise RescoreProblem(
            "another program is changing the same scores. What was rebuilt before stands, nothing else was changed; run it again "
            "when the other one is done"
        )


def _refuse_newer(store: Store) -> None:
    """An older program would undo what a newer one made."""
    with store.reading() as session:
        versions = session.scalars(select(Score.scoring_version).where(Score.superseded_at.is_(None)).distinct()).all()
    newer = [each for each in versions if each.isdecimal() and int(each) > int(SCORING_VERSION)]
    if newer:
        raise RescoreProblem(
            f"this program scores by version {SCORING_VERSION}, and some scores were made by version {max(newer, key=int)}; nothing was "
            "changed. Run it with the program that is in use"
        )


def _replace_scores(session: Session, batch: Batch, now: datetime) -> None:
    _refuse_erased(session, batch)
    at = bound(session, Score, "superseded_at", now)
    old = [each.row_id for each in batch.changes if each.row_id is not None]
    if supersede(session, Score, old, at) != len(old):
        raise _Overtaken
    columns = ("response_id", *ScoreRow._fields, "scored_at")
    new = [(each.response.response_id, *each.after, at) for each in batch.changes if each.after is not None]
    insert_tuples(session, Score, columns, new)


def _refuse_erased(session: Session, batch: Batch) -> None:
    """A patient who was erased since the batch was read gets no new score, and none can be erased until it is written."""
    patients = select(Patient.erased_at).where(Patient.id.in_(batch.changed_patients)).order_by(Patient.id)
    if any(session.scalars(patients.with_for_update(read=True))):
        raise _Overtaken


def _audit(session: Session, action: str, now: datetime, **counts: int) -> None:
    audit(session, action, "clinic 1", now=now, scoring_version=SCORING_VERSION, **counts)
