"""Reads a batch of responses, patient by patient, and finds which scores come out otherwise than they are stored. Writes nothing."""

from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from typing import Any, NamedTuple

from sqlalchemy import Connection, Row, bindparam, select
from sqlalchemy.orm import Session

from scoring.answers import AnswerProblem
from scoring.library import Library
from server.crypto.fields import FieldProblem, PatientCipher
from server.forms.stored import StoredAnswersProblem, open_answers
from server.intake.open import Keys
from server.intake.score_changes import Change, LeftAlone, Where, Why
from server.intake.scores import Stated, scores_of
from server.models import FollowUp, Operation, Patient, Response, Score, Shoulder, Timepoint

AnyRow = Row[*tuple[Any, ...]]
Found = dict[tuple[str, str], AnyRow]  # the valid rows of a response by instrument and scale
# All but the scoring version must agree for two scores to be the same. That one names the program that computed the row, which stays
# true. A new version under which nothing else changes would otherwise double every row and change every export without saying anything
# new; that it gives the same scores stands in the audit entry of the run that found so. Doubles are equal here only bit for bit: no score
# is -0.0 or NaN, since each is made from whole numbers.
_COMPARED = len(Stated._fields) - 1
_BEFORE_STATED = 2  # id and response_id


class Patients(NamedTuple):
    """Those after the one id, up to and with the other."""

    after: int
    last: int


@dataclass
class Batch:
    """What was found of some patients. `patients` are those with a change; `unchanged` counts scores by their scoring version."""

    of: Patients
    responses: int = 0
    unchanged: Counter[str] = field(default_factory=Counter)
    changes: list[Change] = field(default_factory=list)
    left_alone: list[LeftAlone] = field(default_factory=list)
    patients: list[int] = field(default_factory=list)


def next_patients(session: Session, after: int, *, at_once: int) -> Patients | None:
    """The next patients after that one with at least so many responses, if there are; None when no patient is left.

    Patients go whole and in order, so that each key is read once.
    """
    found = session.connection().execute(_PATIENTS, {"after": after, "at_once": at_once}).scalars().all()
    return Patients(after, found[-1]) if found else None


def find_changes(session: Session, of: Patients, keys: Keys, library: Library) -> Batch:
    """What there is to change in the responses of these patients."""
    connection = session.connection()
    batch, of_these = Batch(of), of._asdict()
    kept, ciphers = _valid_scores(connection, of_these), _Ciphers(keys)
    for response in connection.execute(_RESPONSES, of_these).all():
        batch.responses += 1
        where = Where(response.id, response.study_number, response.side, response.code, response.attempt)
        rebuilt = _rebuilt(response, ciphers, library)
        if isinstance(rebuilt, Why):
            batch.left_alone.append(LeftAlone(where, rebuilt))
        elif _compare(batch, where, kept.get(response.id, {}), rebuilt):
            batch.patients.append(response.patient_id)
    return batch


_OF_THESE = Response.patient_id > bindparam("after"), Response.patient_id <= bindparam("last")
_PATIENTS = (
    select(Response.patient_id)
    .where(Response.patient_id > bindparam("after"))
    .order_by(Response.patient_id)
    .limit(bindparam("at_once"))
)
_RESPONSES = (
    select(
        Response.id, Response.patient_id, Response.answers, Patient.handle, Patient.erased_at, Patient.study_number, Shoulder.side,
        Timepoint.code, Timepoint.attempt,
    )
    .join(Patient, Patient.id == Response.patient_id)
    .join(Timepoint, Timepoint.id == Response.timepoint_id)
    .join(FollowUp, FollowUp.id == Timepoint.follow_up_id)
    .join(Operation, Operation.id == FollowUp.operation_id)
    .join(Shoulder, Shoulder.id == Operation.shoulder_id)
    .where(*_OF_THESE)
    .order_by(Response.patient_id, Response.id)
)  # fmt: skip
_SCORES = (
    select(Score.id, Score.response_id, *(getattr(Score, name) for name in Stated._fields))
    .join(Response, Response.id == Score.response_id)
    .where(*_OF_THESE, Score.superseded_at.is_(None))
)


def _valid_scores(connection: Connection, of_these: dict[str, int]) -> dict[int, Found]:
    found: dict[int, Found] = {}
    for row in connection.execute(_SCORES, of_these).all():
        found.setdefault(row[1], {})[row[2], row[4]] = row
    return found


class _Ciphers:
    """The cipher of the patient whose responses are being read."""

    def __init__(self, keys: Keys) -> None:
        self._keys = keys
        self._handle, self._cipher = "", PatientCipher(b"")

    def of(self, handle: str) -> PatientCipher:
        """Raises LookupError without the key."""
        if handle != self._handle:
            self._handle, self._cipher = handle, self._keys.patient_cipher(handle)
        return self._cipher


def _rebuilt(response: AnyRow, ciphers: _Ciphers, library: Library) -> Sequence[Stated] | Why:
    """The scores as they come out now, or why they cannot be made."""
    if response.erased_at is not None:
        return Why.ERASED
    try:
        cipher = ciphers.of(response.handle)
    except LookupError:
        return Why.KEY_MISSING
    try:
        answers = open_answers(response.answers, cipher)
        if any(part.instrument not in library.definitions for part in answers.parts):
            return Why.UNKNOWN_VERSION
        return list(scores_of(answers, library))
    except FieldProblem:
        return Why.NOT_OPENED
    except (StoredAnswersProblem, AnswerProblem):
        return Why.NOT_FITTING


def _compare(batch: Batch, where: Where, kept: Found, rebuilt: Iterable[Stated]) -> bool:
    """Whether anything changed."""
    before = len(batch.changes)
    for after in rebuilt:
        old = kept.pop((after.instrument, after.scale), None)
        if old is None:
            batch.changes.append(Change(where, None, None, after))
        elif old[_BEFORE_STATED:-1] == after[:_COMPARED]:
            batch.unchanged[old[-1]] += 1
        else:
            batch.changes.append(Change(where, old[0], _stated(old[_BEFORE_STATED:]), after))
    batch.changes.extend(Change(where, old[0], _stated(old[_BEFORE_STATED:]), None) for old in kept.values())
    return len(batch.changes) > before


_stated = Stated._make
