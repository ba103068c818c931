"""A clinic by chance: patients of every consent, several kinds and years of operations, timepoints in many states, lines of the log."""

import random
from datetime import date, timedelta
from typing import Any

from sqlalchemy.orm import Session

from server.models import OperationLog
from tests.exports.clinic import SST, SURGERY, Exporter, consent_to_research
from tests.storehouse import (
    NOW,
    TODAY,
    add_account,
    add_follow_up,
    add_operation,
    add_patient,
    add_response,
    add_timepoint,
    answered,
    part,
)


def fill(exporter: Exporter, session: Session, chance: random.Random) -> None:
    """Patients of every consent, operations of several kinds and years, timepoints in many states, and lines of the log."""
    nurse = add_account(session)
    for number in range(14):
        patient = add_patient(session, f"Y-{number:04d}")
        if chance.random() < 0.8:
            consent_to_research(session, patient, withdrawn_on=TODAY if chance.random() < 0.2 else None)
        for _each in range(chance.choice([1, 1, 2])):
            on = chance.choice([SURGERY, date(2023, 2, 1), TODAY + timedelta(days=30), None])
            words = {
                "kind": chance.choice(["index", "revision", "other"]),
                "implant_type": chance.choice(["reverse", None]),
            }
            operation = add_operation(session, patient, chance.choice(["left", "right"]), surgery_on=on, **words)
            if operation.kind != "other":
                follow_up = add_follow_up(session, operation)
                for code in chance.sample(["baseline", "year-1", "year-2", "year-3"], 3):
                    due = TODAY + timedelta(days=chance.choice([-500, -10, 10, 300]))
                    ends: dict[str, Any] = (
                        {"not_expected_on": due, "not_expected_reason": "died"} if chance.random() < 0.2 else {}
                    )
                    row = add_timepoint(session, follow_up, code, due_on=due, **ends)
                    if chance.random() < 0.4 and not ends:
                        state = "recalled" if code == "baseline" and chance.random() < 0.5 else "in"
                        parts = [part("sst@1", answered(dict(SST)))]
                        cipher = exporter.cipher(patient)
                        add_response(session, row, parts, cipher=cipher, entered_by=nurse, window_state=state)
    for _line in range(5):
        session.add(
            OperationLog(
                surgery_on=SURGERY,
                side="left",
                not_enrolled_reason=chance.choice(["declined", "language"]),
                made_at=NOW,
            )
        )
