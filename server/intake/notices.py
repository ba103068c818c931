"""What a patient said beside the answers of a form: each becomes one flag for a person to look at. PROTOCOL.md section 4."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from sqlalchemy.orm import Session

from server.crypto.fields import PatientCipher
from server.intake.check import timepoint_of, timepoints_of
from server.intake.hold import PROBLEMS, Held, held_for
from server.intake.open import Keys, OpenedNotice
from server.models import Envelope, Flag, Timepoint
from server.store.bulk import insert_rows


@dataclass(frozen=True)
class CheckedNotice:
    """A notice of a patient who is known. `timepoint_id` is that of the form in which it was said."""

    envelope: Envelope
    cipher: PatientCipher
    patient_id: int
    timepoint_id: int | None
    flag_kind: str
    true_side: str | None


def check_notices(session: Session, opened: Sequence[OpenedNotice], keys: Keys) -> list[CheckedNotice | Held]:
    """One result for each opened envelope, in order; one statement for all of them."""
    timepoints = timepoints_of(session, opened) if opened else {}
    results: list[CheckedNotice | Held] = []
    for each in opened:
        try:
            results.append(_checked(each, timepoints, keys))
        except PROBLEMS as problem:
            # No form is held here, so its phone is told of none.
            results.append(held_for(each.envelope, problem, notice=each.payload.flag_kind))
    return results


def _checked(opened: OpenedNotice, timepoints: Mapping[str, Timepoint], keys: Keys) -> CheckedNotice:
    said = opened.payload
    timepoint = timepoint_of(opened, timepoints) if said.form_id is not None else None
    return CheckedNotice(
        opened.envelope,
        opened.patient_cipher(keys),
        opened.sender.patient_id,
        timepoint.id if timepoint else None,
        said.flag_kind,
        said.true_side,
    )


def record_notices(session: Session, notices: Sequence[CheckedNotice], *, now: datetime) -> None:
    """One flag each; while one of some kinds is open, no message goes out (server.queries.pause)."""
    insert_rows(session, Flag, [_flag_row(each, now) for each in notices])


def _flag_row(notice: CheckedNotice, now: datetime) -> dict[str, Any]:
    return {
        "kind": notice.flag_kind,
        "patient_id": notice.patient_id,
        "timepoint_id": notice.timepoint_id,
        "envelope_id": notice.envelope.id,
        "true_side": notice.true_side,
        "raised_at": now,
    }
