"""A small invented clinic for tests, its clock, and a browser's view of it."""

from dataclasses import dataclass
from datetime import UTC, date, datetime
from functools import cached_property
from pathlib import Path
from typing import Any

from flask.testing import FlaskClient
from sqlalchemy import select

from server.app import create_app
from server.cli.demo_command import prepare
from server.config import read_settings
from server.installation.runtime import Runtime, open_runtime
from server.models import ContactAttempt, Patient, Response, Score, Timepoint
from server.queries.clock import clinic_day, clinic_now, the_clinic
from tests.stranger import Reply, Stranger

TODAY = date(2026, 6, 17)
REAL_NOW = datetime(2026, 11, 2, 14, 0, tzinfo=UTC)
PATIENTS = 42
ADDRESS = "http://127.0.0.1:8017"
OWN_PAGE = {"Sec-Fetch-Site": "same-origin"}


@dataclass
class Demo:
    runtime: Runtime
    content: dict[str, Any]

    @property
    def folder(self) -> Path:
        return self.runtime.settings.data

    @cached_property
    def client(self) -> FlaskClient:
        return create_app(self.runtime).test_client()

    @property
    def now(self) -> datetime:
        return self.runtime.now()

    @property
    def today(self) -> date:
        with self.runtime.store.reading() as session:
            clinic = the_clinic(session)
            return clinic_day(clinic, clinic_now(clinic, self.runtime.real_clock()))

    def links(self, state: str) -> list[dict[str, Any]]:
        return [each for each in self.content["patient_links"] if each["state"] == state]

    def phone(self, link: dict[str, Any]) -> Stranger:
        """A phone that was given this link and birth date."""

        def post(path: str, body: Any) -> Reply:
            response = self.client.post(path, json=body)
            return Reply(response.status_code, response.get_json())

        return Stranger(link["url"].partition("#")[2], date.fromisoformat(link["birth_date"]), post)


def open_again(folder: Path) -> Runtime:
    return open_runtime(read_settings({}, data=folder), real_clock=lambda: REAL_NOW)


def make_demo(folder: Path, *, today: date = TODAY, patients: int = PATIENTS) -> Demo:
    runtime = open_again(folder)
    return Demo(runtime, prepare(runtime, base_url=ADDRESS, today=today, patients=patients))


def study_numbers(runtime: Runtime) -> list[str]:
    with runtime.store.reading() as session:
        return list(session.scalars(select(Patient.study_number).order_by(Patient.id)))


def snapshot(demo: Demo) -> list[object]:
    """What must come out the same whenever this day is seeded."""
    with demo.runtime.store.reading() as session:
        people = [(p.study_number, p.first_name, p.last_name, p.birth_on) for p in session.scalars(select(Patient))]
        timepoints = [
            (t.patient_id, t.code, t.attempt, t.due_on, t.answered_at, t.window_state)
            for t in session.scalars(select(Timepoint).order_by(Timepoint.id))
        ]
        responses = [(r.mode, r.finished_at, r.device) for r in session.scalars(select(Response).order_by(Response.id))]
        scores = [(s.instrument, s.scale, s.value) for s in session.scalars(select(Score).order_by(Score.id))]
        calls = [(c.patient_id, c.at, c.result) for c in session.scalars(select(ContactAttempt))]
    return [people, timepoints, responses, scores, calls]
