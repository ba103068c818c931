"""Whose work waits in these tests. Everybody is invented."""

from collections.abc import Collection, Iterator
from dataclasses import dataclass
from datetime import date, timedelta
from pathlib import Path
from typing import Any

import pytest
from sqlalchemy.orm import Session

from server.crypto.fields import PatientCipher
from server.models import Consent, Envelope, Flag, GateTries, Link, Patient, Timepoint
from server.store.engine import Store
from server.words.language import Words
from server.worklist import Worklist, WorkRow, list_work
from tests.storehouse import NOW, TODAY, add_follow_up, add_operation, add_patient, add_timepoint, make_store

DAY = timedelta(days=1)
ENGLISH = Words("staff", "en")
say = ENGLISH.say


def reason(row: WorkRow) -> str:
    """As an English page says it."""
    return ENGLISH.sentences(row.reason)


def no_key(handle: str) -> PatientCipher:
    """The flags of these tests come from no response, so that no patient's key is read."""
    raise LookupError(handle)


@dataclass(frozen=True)
class Ward:
    store: Store

    def work(
        self, kinds: Collection[str] | None = None, limit: int = 50, offset: int = 0, *, today: date = TODAY
    ) -> Worklist:
        with self.store.reading() as session:
            return list_work(session, today=today, now=NOW, cipher_of=no_key, kinds=kinds, limit=limit, offset=offset)

    def only_row(self) -> WorkRow:
        (row,) = self.work().rows
        return row


@pytest.fixture
def ward(database_url: str, tmp_path: Path) -> Iterator[Ward]:
    store = make_store(database_url, tmp_path)
    yield Ward(store)
    store.engine.dispose()


def patient(session: Session, number: str = "Y-0001", **values: Any) -> Patient:
    """Ada, who agreed to be contacted."""
    found = add_patient(session, number, **values)
    session.add(Consent(patient_id=found.id, kind="contact", version="1", given_on=date(2024, 1, 2)))
    session.flush()
    return found


def waiting(
    session: Session, number: str = "Y-0001", *, due_on: date = TODAY, code: str = "year-2", **values: Any
) -> Timepoint:
    """A timepoint of a patient of its own: due today and open for 90 days more, unless `values` says otherwise."""
    follow_up = add_follow_up(session, add_operation(session, patient(session, number), surgery_on=date(2024, 6, 15)))
    return add_timepoint(session, follow_up, code, due_on=due_on, **values)


def baseline(
    session: Session, number: str = "Y-0001", *, planned_on: date | None, due_on: date = TODAY, **values: Any
) -> Timepoint:
    """An open baseline: it has no closing day while surgery is not done."""
    operation = add_operation(session, patient(session, number), surgery_planned_on=planned_on)
    dates = {"anchor_on": planned_on, "opens_on": due_on - 14 * DAY, "invites_on": due_on - 14 * DAY, "closes_on": None}
    return add_timepoint(session, add_follow_up(session, operation), "baseline", due_on=due_on, **{**dates, **values})


def flag(session: Session, timepoint: Timepoint, kind: str, item: str | None, **values: Any) -> Flag:
    given = {"raised_at": NOW - timedelta(hours=2), "patient_id": timepoint.patient_id, "timepoint_id": timepoint.id}
    raised = Flag(kind=kind, item=item, **{**given, **values})
    session.add(raised)
    session.flush()
    return raised


def held(
    session: Session, reason: str, lookup_hash: bytes = b"nobody's", number: int = 1, state: str = "held"
) -> Envelope:
    envelope = Envelope(
        envelope_id=f"00000000-0000-4000-8000-{number:012d}", sha256=bytes([number]) * 32, lookup_hash=lookup_hash,
        key_id="k", received_at=NOW - timedelta(days=3), body=b"sealed", state=state, held_reason=reason,
    )  # fmt: skip
    session.add(envelope)
    session.flush()
    return envelope


def link_of(session: Session, owner: Patient) -> bytes:
    lookup_hash = owner.handle.encode()
    session.add(Link(patient_id=owner.id, lookup_hash=lookup_hash, token=None, made_at=NOW))
    session.flush()
    return lookup_hash


def locked(session: Session, owner: Patient, failures: int = 5) -> None:
    at = NOW - timedelta(hours=30)
    session.add(
        GateTries(handle=owner.handle, failures=failures, last_failure_at=at, locked_at=at if failures >= 5 else None)
    )
    session.flush()
