"""Who looked at whose record: a row for each person of staff, patient and hour."""

from datetime import datetime

from sqlalchemy.dialects import postgresql, sqlite
from sqlalchemy.orm import Session

from server.models import PatientView
from server.queries.belongs import whose
from server.store.engine import Store


def note_view(store: Store, thing: str, by_id: int, at: datetime) -> None:
    """Keeps that somebody looked at a thing of a patient ("response 7"), unless this hour has it already. A thing of nobody is no view.

    Looked for before it is written, so that further pages of the same hour wait for no writer.
    """
    hour = at.replace(minute=0, second=0, microsecond=0)
    with store.reading() as session:
        patient_id = whose(session, [thing]).get(thing)
        if patient_id is None or session.get(PatientView, (patient_id, hour, by_id)) is not None:
            return
    with store.writing() as session:
        _keep(session, patient_id, hour, by_id)


def _keep(session: Session, patient_id: int, hour: datetime, by_id: int) -> None:
    """Two pages may be answered at one moment; one row is kept."""
    insert = sqlite.insert if session.connection().dialect.name == "sqlite" else postgresql.insert
    new = insert(PatientView).values(patient_id=patient_id, hour=hour, by_id=by_id)
    session.execute(new.on_conflict_do_nothing())
