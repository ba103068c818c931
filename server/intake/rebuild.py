"""Reads a batch of responses, scores them, and finds the scores that differ from the stored ones. Writes nothing."""

from collections.abc import Iterator, Sequence
from typing import Any

from sqlalchemy import Row, func, select
from sqlalchemy.orm import Session

from scoring.answers import AnswerProblem
from scoring.library import Library
from server.crypto.fields import FieldProblem, PatientCipher
from server.forms.stored import StoredAnswersProblem, open_answers
from server.intake.open import Keys
from server.intake.score_changes import Batch, Change, LeftAlone, LeftAloneReason, PatientRange, ResponseLabel
from server.intake.scores import ScoreRow, own_scores_of
from server.models import ClinicFinding, FollowUp, Operation, Patient, Response, Score, Shoulder, Timepoint

AnyRow = Row[*tuple[Any, ...]]
StoredScores = dict[tuple[str, str], tuple[int, ScoreRow]]  # by instrument and scale, with the id of the row


def next_patients(session: Session, *, after: int, at_once: int) -> PatientRange | None:
    """The next patients, with this many responses together or a few more; None when no patient is left.

    Patients go whole and in order, so that each key is read once.
    """
    wanted = select(Response.patient_id).where(Response.patient_id > after).order_by(Response.patient_id).limit(at_once)
    patient_ids = session.scalars(wanted).all()
    return PatientRange(after, patient_ids[-1]) if patient_ids else None


def find_changes(session: Session, patients: PatientRange, keys: Keys, library: Library) -> Batch:
    """The batch of these patients, with what has to be changed in their scores."""
    batch, stored, ciphers = Batch(patients), _stored_scores(session, patients), _Ciphers(keys)
    for response in _responses(session, patients):
        batch.responses += 1
        label = ResponseLabel(response.id, response.study_number, response.side, response.code, response.attempt)
        computed = _computed_scores(response, ciphers, library)
        if isinstance(computed, LeftAloneReason):
            batch.left_alone.append(LeftAlone(label, computed))
            continue
        changes = list(_changes(label, stored.get(response.id, {}), computed, batch))
        if changes:
            batch.changes += changes
            batch.changed_patients.add(response.patient_id)
    return batch


def _responses(session: Session, patients: PatientRange) -> Sequence[AnyRow]:
    wanted = (
        select(
            Response.id, Response.patient_id, Response.answers, Response.answered_by,
            Patient.handle, Patient.erased_at, Patient.study_number,
            Shoulder.side, func.coalesce(Timepoint.code, "visit").label("code"), func.coalesce(Timepoint.attempt, 1).label("attempt"),
        )
        .join(Patient, Patient.id == Response.patient_id)
        .outerjoin(Timepoint, Timepoint.id == Response.timepoint_id)
        .outerjoin(FollowUp, FollowUp.id == Timepoint.follow_up_id)
        .outerjoin(Operation, Operation.id == FollowUp.operation_id)
        .outerjoin(ClinicFinding, ClinicFinding.id == Response.finding_id)  # a form that was taken at a visit
        .join(Shoulder, Shoulder.id == func.coalesce(Operation.shoulder_id, ClinicFinding.shoulder_id))
        .where(Response.patient_id > patients.after, Response.patient_id <= patients.last)
        .order_by(Response.patient_id, Response.id)
    )  # fmt: skip
    return session.connection().execute(wanted).all()


def _stored_scores(session: Session, patients: PatientRange) -> dict[int, StoredScores]:
    """The valid rows by response."""
    wanted = (
        select(Score.id, Score.response_id, *(getattr(Score, name) for name in ScoreRow._fields))
        .join(Response, Response.id == Score.response_id)
        .where(Response.patient_id > patients.after, Response.patient_id <= patients.last)
        .where(Score.superseded_at.is_(None))
    )
    stored: dict[int, StoredScores] = {}
    for row_id, response_id, *columns in session.connection().execute(wanted):
        row = ScoreRow(*columns)
        stored.setdefault(response_id, {})[row.instrument, row.scale] = (row_id, row)
    return stored


class _Ciphers:
    """The cipher of the patient whose responses are being read, so that each key file is read once."""

    def __init__(self, keys: Keys) -> None:
        self._keys = keys
        self._handle, self._cipher = "", PatientCipher(b"")

    def of(self, handle: str) -> PatientCipher:
        """Raises LookupError without the key."""
        if handle != self._handle:
            self._handle, self._cipher = handle, self._keys.patient_cipher(handle)
        return self._cipher


def _computed_scores(response: AnyRow, ciphers: _Ciphers, library: Library) -> list[ScoreRow] | LeftAloneReason:
    """The scores as they are computed now, or why they cannot be."""
    if response.erased_at is not None:
        return LeftAloneReason.ERASED
    try:
        cipher = ciphers.of(response.handle)
    except LookupError:
        return LeftAloneReason.KEY_MISSING
    try:
        answers = open_answers(response.answers, cipher)
        if any(part.instrument not in library.definitions for part in answers.parts):
            return LeftAloneReason.UNKNOWN_VERSION
        return list(own_scores_of(answers, response.answered_by, library))
    except FieldProblem:
        return LeftAloneReason.NOT_OPENED
    except (StoredAnswersProblem, AnswerProblem):
        return LeftAloneReason.NOT_FITTING


def _changes(
    label: ResponseLabel, stored: StoredScores, computed: Sequence[ScoreRow], batch: Batch
) -> Iterator[Change]:
    """The changes of one response. Scores that agree are counted in the batch."""
    rest = dict(stored)
    for after in computed:
        row_id, before = rest.pop((after.instrument, after.scale), (None, None))
        if before is not None and before.agrees_with(after):
            batch.unchanged[before.scoring_version] += 1
        else:
            yield Change(label, row_id, before, after)
    for row_id, before in rest.values():
        yield Change(label, row_id, before, None)
