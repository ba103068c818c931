"""A whole small clinic for tests: runtime, enrolled patients, links, a test client for the phone's routes. The clock is passed in."""

from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from datetime import UTC, date, datetime, timedelta
from functools import cached_property
from pathlib import Path
from typing import Any

import pytest
from flask import Flask

from scoring.library import load_library
from server.clinic.enrol import enrol
from server.clinic.entries import Enrolment, ShoulderEntry
from server.config import read_settings
from server.installation.runtime import Runtime
from server.installation.set_up import ClinicEntry, set_up_clinic
from server.intake.process import IntakeCounts
from server.jobs.intake import process_received
from server.links.make import live_link
from server.links.publish import publish_sheet
from server.models import Patient
from server.queries.clock import clinic_day, the_clinic
from server.store.engine import Store
from server.store.folder_lock import FolderLock
from server.sync.api import make_sync
from server.timepoints.plans import read_plans
from server.trust.keys import KeyFolder
from tests.storehouse import emptied_engine
from tests.stranger import Reply, Stranger

NOW = datetime(2026, 6, 15, 9, 0, tzinfo=UTC)
DEMO = ClinicEntry(
    name="Test Clinic (invented)",
    mode="demo",
    phone="555 0100",
    phone_hours={"en": "Monday to Friday, 8 to 16"},
    closed_phone="555 0101",
    emergency_number="112",
    time_zone="Europe/Madrid",
    base_url="http://127.0.0.1:8017",
)


@dataclass
class Case:
    """`make_app`: of the application whose routes its phones talk to, made once one does."""

    runtime: Runtime
    make_app: Callable[[Runtime], Flask]
    now: datetime = NOW
    woken: int = 0
    numbers: list[str] = field(default_factory=list)

    @cached_property
    def app(self) -> Flask:
        return self.make_app(self.runtime)

    @property
    def store(self) -> Store:
        return self.runtime.store

    @property
    def today(self) -> date:
        with self.store.reading() as session:
            return clinic_day(the_clinic(session), self.now)

    def enrol(self, *shoulders: ShoulderEntry, **changes: Any) -> int:
        """The id of a new patient, Ada Arden born 1952-02-29 unless changed, with a link and a published sheet."""
        entry = {
            "first_name": "Ada",
            "last_name": "Arden",
            "birth_on": date(1952, 2, 29),
            "sex": "female",
            "language": "en",
            "email": "ada@patient.example",
            "consents": ("contact", "research"),
            "shoulders": shoulders or (ShoulderEntry(side="right", surgery_on=self.today - timedelta(days=365)),),
        }
        with self.store.writing() as session:
            patient = enrol(
                session,
                Enrolment(**{**entry, **changes}),
                plan=read_plans(session).named(the_clinic(session).default_plan),
                clinic=the_clinic(session),
                new_patient_key=self.runtime.keys.new_patient_key,
                now=self.now,
                today=self.today,
                by_id=None,
            )
            live_link(session, patient, now=self.now)
            patient_id = patient.id
        self.publish(patient_id)
        return patient_id

    def publish(self, patient_id: int) -> None:
        with self.store.writing() as session:
            patient = session.get_one(Patient, patient_id)
            publish_sheet(session, patient, library=self.runtime.library, now=self.now, today=self.today)

    def phone(self, patient_id: int, *, born: date | None = None) -> Stranger:
        with self.store.writing() as session:
            patient = session.get_one(Patient, patient_id)
            token = live_link(session, patient, now=self.now).token
            assert token is not None
            return Stranger(token, born or patient.birth_on, self.post)

    def post(self, path: str, body: Any) -> Reply:
        answer = self.app.test_client().post(path, json=body)
        return Reply(answer.status_code, answer.get_json(silent=True), answer.headers.get("Retry-After"))

    def process(self) -> IntakeCounts:
        """Intake of all that was received."""
        return process_received(self.runtime)


def make_case(url: str, folder: Path, now: datetime = NOW) -> Case:
    """A case on an emptied database."""
    keys = KeyFolder(folder / "keys")
    store = Store(emptied_engine(url, folder), keys.first_field_key())
    holder: list[Case] = []
    settings = read_settings({"YEARMARK_DATABASE_URL": url}, data=folder)
    runtime = Runtime(settings, store, keys, load_library(), FolderLock(folder), lambda: holder[0].now)
    with store.writing() as session:
        set_up_clinic(session, DEMO, keys, now=now)
    case = Case(runtime, _phone_facing, now)
    holder.append(case)
    return case


@pytest.fixture
def case(database_url: str, tmp_path: Path) -> Iterator[Case]:
    """A small clinic on an empty database, on SQLite and on PostgreSQL."""
    made = make_case(database_url, tmp_path)
    yield made
    made.store.engine.dispose()


def _phone_facing(runtime: Runtime) -> Flask:
    """The two routes of the protocol alone, as they may run on a machine of their own."""
    from flask_smorest import Api

    app = Flask("phone-facing")
    app.config.update(API_TITLE="t", API_VERSION="1", OPENAPI_VERSION="3.1.0", MAX_CONTENT_LENGTH=8 * 1024 * 1024)
    Api(app).register_blueprint(make_sync(runtime.store, runtime.now))
    return app
