"""The tables whose rows are entered, corrected and taken back on pages of the same kind: events, findings, what other sources know."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Any

from sqlalchemy.orm import Session

from server.clinic import events, findings, known_status
from server.clinic.recorded import bring_back, take_back
from server.fields import event as event_fields
from server.fields import finding as finding_fields
from server.fields import known_status as status_fields
from server.fields.event import EVENT
from server.fields.field import Field
from server.fields.finding import FINDING
from server.fields.known_status import KNOWN_STATUS
from server.models import ClinicEvent, ClinicFinding, KnownStatus, Shoulder
from server.words.phrase import Phrase, phrase


@dataclass(frozen=True)
class Table:
    """`of_shoulder`: a row belongs to one shoulder, which is chosen with it; else it belongs to the person.

    `check`, `record` and `correct` raise EntryRefused.
    """

    word: str
    model: type[Any]
    fields: tuple[Field, ...]
    headings: Mapping[str, str]
    folded: tuple[str, ...]
    title: Phrase
    lead: Phrase
    of_shoulder: bool
    check: Callable[..., object]
    record: Callable[..., Any]
    correct: Callable[..., list[str]]
    take_back: Callable[..., None] = take_back
    bring_back: Callable[..., None] = bring_back

    @property
    def name(self) -> str:
        table: str = self.model.__tablename__
        return table

    def patient_of(self, session: Session, row: Any) -> int:
        if not self.of_shoulder:
            known: int = row.patient_id
            return known
        return session.get_one(Shoulder, row.shoulder_id).patient_id


EVENTS = Table(
    word="event",
    model=ClinicEvent,
    fields=EVENT,
    headings=event_fields.GROUPS,
    folded=("infection",),
    title=phrase("Write down an event"),
    lead=phrase(
        "What happened to the shoulder, or to the person within 90 days of the operation. What the patient says is reported; "
        "once it was checked against a letter, a record or an examination it is confirmed."
    ),
    of_shoulder=True,
    check=events.check_event,
    record=events.record_event,
    correct=events.correct_event,
)
FINDINGS = Table(
    word="finding",
    model=ClinicFinding,
    fields=FINDING,
    headings=finding_fields.GROUPS,
    folded=("passive", "other_side", "lag", "radiograph", "note"),
    title=phrase("Write down a visit"),
    lead=phrase(
        "What was found at the visit. Leave out what was not examined; “unknown” is for what was asked and not found out."
    ),
    of_shoulder=True,
    check=findings.check_finding,
    record=findings.record_finding,
    correct=findings.correct_finding,
)
STATUSES = Table(
    word="status",
    model=KnownStatus,
    fields=KNOWN_STATUS,
    headings=status_fields.GROUPS,
    folded=(),
    title=phrase("Write down what a source says"),
    lead=phrase(
        "A letter, a register, another department, a relative. Each source moves only what it shows: a register of deaths says nothing "
        "of the implant, and a relative's word stays reported."
    ),
    of_shoulder=False,
    check=known_status.check_status,
    record=known_status.record_status,
    correct=known_status.correct_status,
    take_back=known_status.take_back_status,
    bring_back=known_status.bring_back_status,
)
