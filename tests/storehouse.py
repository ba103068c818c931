"""A store for tests: an empty database of either kind with the demo clinic in it, and builders for what lies in one.

Everybody here is invented.
"""

import json
import uuid
from collections.abc import Callable, Mapping
from datetime import UTC, date, datetime, time, timedelta
from functools import cache
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

from sqlalchemy import Dialect, Engine, inspect, literal, make_url, select, union_all
from sqlalchemy.orm import Session
from sqlalchemy.util import LRUCache

from scoring.answers import Answer
from scoring.library import load_library
from server.crypto.fields import PatientCipher
from server.models import (
    Base,
    Clinic,
    FollowUp,
    Operation,
    Patient,
    Response,
    Score,
    Shoulder,
    StaffAccount,
    Timepoint,
)
from server.schedule.plan import Plan
from server.schedule.plan_parsing import parse_plan
from server.store.engine import Store, make_engine
from server.store.folder_lock import FolderLock
from server.store.migrate import upgrade
from server.trust.keys import KeyFolder

TODAY = date(2026, 6, 15)
NOW = datetime(2026, 6, 15, 9, 0, tzinfo=UTC)
ANSWERS_CONTEXT = "response.answers"
_COMPILED: dict[str, tuple[Dialect, LRUCache[Any, Any]]] = {}


def make_store(url: str, folder: Path) -> Store:
    """A store on an emptied database, with one demo clinic. Keys lie in `folder`/keys. Dispose of `store.engine` at the end."""
    engine = emptied_engine(url, folder)
    store = Store(engine, KeyFolder(folder / "keys").first_field_key())
    with store.writing() as session:
        session.add(demo_clinic())
    return store


def emptied_engine(url: str, folder: Path) -> Engine:
    """All tables and no rows, whatever an earlier test left in this database. The folder's lock is that of `folder`."""
    if not url.startswith("sqlite"):
        engine = sharing_compiled(make_engine(url, None))
        _empty(engine)
        return engine
    file = Path(make_url(url).database or "")
    for each in (file, file.with_name(f"{file.name}-wal"), file.with_name(f"{file.name}-shm")):
        each.unlink(missing_ok=True)
    file.write_bytes(_empty_sqlite())
    return sharing_compiled(make_engine(url, FolderLock(folder)))


def sharing_compiled(engine: Engine) -> Engine:
    """Every test has an engine of its own, and a running server one for weeks: a statement is compiled once for all of them."""
    engine.dialect, compiled = _COMPILED.setdefault(engine.dialect.name, (engine.dialect, LRUCache(2000)))
    engine.update_execution_options(compiled_cache=compiled)
    return engine


@cache
def _empty_sqlite() -> bytes:
    """Of the models. Made once, since that takes as long as many a test."""
    return _sqlite_file(Base.metadata.create_all)


@cache
def migrated_sqlite() -> bytes:
    """As the program makes it, with the mark of its revision. Made once, for the same reason."""
    return _sqlite_file(upgrade)


def _sqlite_file(make: Callable[[Engine], None]) -> bytes:
    with TemporaryDirectory() as folder:
        file = Path(folder) / "clinic.sqlite"
        engine = make_engine(f"sqlite:///{file}", None)
        make(engine)
        engine.dispose()
        return file.read_bytes()


def _empty(engine: Engine) -> None:
    """One question tells which tables hold anything."""
    tables = Base.metadata.sorted_tables
    if not inspect(engine).has_table(tables[0].name):
        Base.metadata.create_all(engine)
        return
    filled = union_all(*(select(literal(table.name)).where(select(table).exists()) for table in tables))
    with engine.begin() as connection:
        names = set(connection.scalars(filled))
        for table in reversed(tables):
            if table.name in names:
                connection.execute(table.delete())


def demo_clinic() -> Clinic:
    return Clinic(
        id=1,
        name="Demo Shoulder Clinic",
        mode="demo",
        phone="+34 600 000 001",
        phone_hours={"en": "Monday to Friday, 9 to 17"},
        closed_phone="+34 600 000 002",
        emergency_number="112",
        time_zone="Europe/Madrid",
        languages="en,es",
        default_plan="standard@1",
        base_url="http://127.0.0.1:8017",
    )


def standard_plan() -> Plan:
    return parse_plan(load_library().plans["standard@1"])


def add_account(session: Session, email: str = "nurse@clinic.example", role: str = "nurse") -> StaffAccount:
    """An account whose password nobody knows."""
    account = StaffAccount(email=email, name="Nora Nurse", role=role, password_hash="none", made_at=NOW)
    session.add(account)
    session.flush()
    return account


def add_patient(session: Session, study_number: str = "Y-0001", **values: Any) -> Patient:
    """Ada Ardent, born 28 March 1957, unless `values` says otherwise."""
    born = values.pop("birth_on", date(1957, 3, 28))
    given = {
        "handle": uuid.uuid4().hex,
        "first_name": "Ada",
        "last_name": "Ardent",
        "sex": "female",
        "language": "en",
        "time_zone": "Europe/Madrid",
        "channel_order": "email",
        "email": "ada@example.org",
        "made_at": NOW,
    }
    patient = Patient(study_number=study_number, birth_on=born, birth_year=born.year, **{**given, **values})
    session.add(patient)
    session.flush()
    return patient


def add_operation(
    session: Session, patient: Patient, side: str = "left", *, surgery_on: date | None = None, **values: Any
) -> Operation:
    """The next operation on this side, `index` unless said otherwise."""
    shoulder = next((each for each in patient.shoulders if each.side == side), None)
    if shoulder is None:
        shoulder = Shoulder(side=side)
        patient.shoulders.append(shoulder)
    given = {"kind": "index", "position": len(shoulder.operations) + 1, "made_at": NOW}
    operation = Operation(surgery_on=surgery_on, **{**given, **values})
    shoulder.operations.append(operation)
    session.flush()
    return operation


def add_follow_up(session: Session, operation: Operation, *, started_on: date | None = None, **values: Any) -> FollowUp:
    started = started_on or operation.surgery_on or TODAY
    follow_up = FollowUp(operation=operation, plan_id="standard", plan_version="1", started_on=started, **values)
    session.add(follow_up)
    session.flush()
    return follow_up


def add_timepoint(session: Session, follow_up: FollowUp, code: str, *, due_on: date, **values: Any) -> Timepoint:
    """Open from 90 days before until 90 days after `due_on`, unless `values` says otherwise."""
    given = {
        "patient_id": follow_up.operation.shoulder.patient_id,
        "plan_version": "1",
        "form_id": str(uuid.uuid4()),
        "anchor_on": due_on,
        "opens_on": due_on - timedelta(days=90),
        "invites_on": due_on - timedelta(days=14),
        "closes_on": due_on + timedelta(days=90),
    }
    timepoint = Timepoint(code=code, due_on=due_on, **{**given, **values})
    follow_up.timepoints.append(timepoint)
    session.flush()
    return timepoint


def answered(item_values: dict[str, int | str]) -> dict[str, dict[str, Any]]:
    """Item to an answer as it is kept."""
    return {item: {"state": "answered", "value": value} for item, value in item_values.items()}


def documents(answers: Mapping[str, Answer]) -> dict[str, dict[str, Any]]:
    """Each answer as it is kept."""
    return {
        item: {"state": each.state} if each.value is None else {"state": each.state, "value": each.value}
        for item, each in answers.items()
    }


def part(instrument: str, answers: dict[str, dict[str, Any]], language: str = "en") -> dict[str, Any]:
    """One part of a form's answers as it is kept, with the descriptive text's id."""
    return {"instrument": instrument, "text_id": f"{instrument}/{language}/descriptive-1", "answers": answers}


def add_response(
    session: Session,
    timepoint: Timepoint,
    parts: list[dict[str, Any]],
    *,
    cipher: PatientCipher,
    entered_by: StaffAccount,
    on: date | None = None,
    **values: Any,
) -> Response:
    """A recorded form, and the timepoint's facts with it; entered by staff, since that needs no envelope."""
    day = on or timepoint.due_on
    at = datetime.combine(day, time(10, 0), tzinfo=UTC)
    given = {
        "patient_id": timepoint.patient_id,
        "entered_by_id": entered_by.id,
        "counted": True,
        "mode": "telephone",
        "answered_by": "patient",
        "language": "en",
        "window_state": "in",
        "finished_at": at,
        "received_at": at,
        "recorded_at": at,
        "answers": cipher.seal(json.dumps(parts).encode(), ANSWERS_CONTEXT),
    }
    response = Response(timepoint_id=timepoint.id, **{**given, **values})
    session.add(response)
    if response.counted:
        timepoint.answered_at, timepoint.answered_on, timepoint.done_at = at, day, at
        timepoint.window_state = response.window_state
    session.flush()
    return response


def add_score(session: Session, response: Response, instrument: str = "sst", **values: Any) -> Score:
    """A total of 9 from 12 answered items, unless `values` says otherwise."""
    given = {
        "instrument_version": "1",
        "text_id": f"{instrument}@1/en/descriptive-1",
        "scale": "total",
        "value": 9.0,
        "status": "scored",
        "answered": 12,
        "items": 12,
        "method": "number of yes of 12, all 12 needed",
        "scoring_version": "1",
        "scored_at": NOW,
    }
    score = Score(response=response, instrument=instrument, **{**given, **values})
    session.add(score)
    session.flush()
    return score
