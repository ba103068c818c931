"""What the patient's page tells between the answers: last known days, events and findings."""

from dataclasses import dataclass
from datetime import date

from sqlalchemy.orm import Session

from server.models import Patient
from server.staff.page.last_known_words import told
from server.staff.page.what_happened import Found, Happened, events_of, findings_of


@dataclass(frozen=True)
class Story:
    known: list[tuple[str, str]]
    events: list[Happened]
    findings: list[Found]


def story_of(session: Session, patient: Patient, today: date) -> Story:
    return Story(told(session, patient, today), events_of(session, patient), findings_of(session, patient))
