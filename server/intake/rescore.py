"""Rebuilds scores from the stored answers, by the definitions and the scoring version of this program.

1. A batch of responses is read without the lock, opened and scored by the instrument versions and texts they were answered with
   (`server/intake/rebuild.py`). A response that cannot be scored is left alone, with the reason.
   Where there are many, another process reads ahead (`server/intake/read_ahead.py`).
2. Where a score comes out otherwise than it is stored, the old row is superseded and a new one added: one short write transaction for a
   batch, so that a running server gets its turn after each. No row is altered but for `superseded_at`, and none is deleted.
3. If somebody changed these rows in between, nothing of the batch is written and its patients are read again.

A run that is killed leaves each response wholly old or wholly new, and the next run finds what is left. All that one run wrote bears the
same instant.
"""

from collections.abc import Callable, Iterable, Iterator
from contextlib import closing
from dataclasses import dataclass
from datetime import datetime

from sqlalchemy import func, select
from sqlalchemy.exc import IntegrityError
from sqlalchemy.orm import Session

from scoring.library import Library
from scoring.score import SCORING_VERSION
from server.intake.open import Keys
from server.intake.read_ahead import ReaderGone, read_batches, seldom_collected
from server.intake.rebuild import Batch, find_changes
from server.intake.score_changes import Summary
from server.intake.scores import Stated
from server.models import Patient, Response, Score
from server.store.bulk import bound, insert_tuples, supersede
from server.store.engine import Store
from server.trust.audit import audit

AT_ONCE = 200
TRIES = 3


class RescoreProblem(RuntimeError):
    """The run stopped; the message says what stands and what to do."""


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
    listed: Callable[[Batch], None] | None = None,
    told: Callable[[Batch], None] | None = None,
    at_once: int = AT_ONCE,
) -> Summary:
    """What was found. With `check` nothing is written.

    `listed` hears of each batch just before it is committed, under the lock, and stops that by raising: a change that is not listed is not
    made, while one that is listed may not be made after all, and is found again by the next run. `told` hears of it afterwards.

    Raises RescoreProblem when other programs keep changing the same rows, when a newer one made some of them, or when reading breaks off.
    """
    _refuse_newer(store)
    summary, run = Summary(), _Run(store, keys, library, now, listed or _nobody)
    with seldom_collected(), closing(read_batches(store, keys, library, at_once=at_once)) as batches:
        for found in _all_of(batches):
            batch = found
            if found.changes and not check:
                batch = run.write(found, first=not summary.groups)
            else:
                run.listed(found)
            summary.take(batch.responses, batch.unchanged, batch.changes, batch.left_alone)
            if told is not None:
                told(batch)
    if not check:
        with store.writing() as session:
            _note(session, "scores:rebuilt", now, **summary.counts())
    return summary


@dataclass(frozen=True)
class _Run:
    store: Store
    keys: Keys
    library: Library
    now: datetime
    listed: Callable[[Batch], None]

    def write(self, batch: Batch, *, first: bool) -> Batch:
        """What was written: the batch, or what its patients' rows called for when they were read again."""
        for _try in range(TRIES):
            try:
                with self.store.writing() as session:
                    if first:  # so that a run that was killed is in the trail too
                        _note(session, "scores:rebuild_begun", self.now)
                    _write(session, batch, self.now)
                    self.listed(batch)
                return batch
            except (_Overtaken, IntegrityError):
                with self.store.reading() as session:
                    batch = find_changes(session, batch.of, self.keys, self.library)
                if not batch.changes:
                    self.listed(batch)
                    return batch
        raise RescoreProblem(
            "another program is changing the same scores. What was rebuilt before stands, nothing else was changed; run it again "
            "when the other one is done"
        )


def _all_of(batches: Iterable[Batch]) -> Iterator[Batch]:
    try:
        yield from batches
    except ReaderGone as problem:
        raise RescoreProblem(
            f"{problem}. What was rebuilt before stands, nothing else was changed; run it again"
        ) from problem


def _nobody(_batch: Batch) -> None:
    pass


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


def _write(session: Session, batch: Batch, now: datetime) -> None:
    _refuse_erased(session, batch)
    at = bound(session, Score, "superseded_at", now)
    rows = [each.row_id for each in batch.changes if each.row_id is not None]
    if supersede(session, Score, rows, at) != len(rows):
        raise _Overtaken
    columns = ("response_id", *Stated._fields, "scored_at")
    new = [(each.where.response_id, *each.after, at) for each in batch.changes if each.after is not None]
    insert_tuples(session, Score, columns, new)


def _refuse_erased(session: Session, batch: Batch) -> None:
    """A patient who was erased since the batch was read gets no new score, and none can be erased until it is written."""
    patients = select(Patient.erased_at).where(Patient.id.in_(batch.patients)).order_by(Patient.id)
    if any(session.connection().execute(patients.with_for_update(read=True)).scalars()):
        raise _Overtaken


def _note(session: Session, action: str, now: datetime, **counts: int) -> None:
    audit(session, action, "clinic 1", now=now, scoring_version=SCORING_VERSION, **counts)
