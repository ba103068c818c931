"""`/health`: one address for somebody's monitor, which learns whether the server works and nothing about anybody."""

from datetime import timedelta
from typing import Any

import pytest
from flask import Flask
from sqlalchemy import text

from server.installation.runtime import Runtime
from server.jobs.clock import make_scheduler
from server.jobs.health import Health
from server.models import Envelope
from server.store.migrate import revisions
from tests.cli.shell import CLINIC, Shell

WELL = {"database": "ok", "schema": "ok", "clock": "ok", "intake": "ok"}


class Watch:
    """Seconds since the start, as the test says."""

    def __init__(self) -> None:
        self.now = 0.0

    def __call__(self) -> float:
        return self.now


@pytest.fixture
def watch() -> Watch:
    return Watch()


@pytest.fixture
def health(live: Shell, inside: Runtime, watch: Watch) -> Health:
    return Health(inside, schema=revisions()[-1], seconds=watch)


def asked(health: Health) -> tuple[int, dict[str, Any]]:
    app = Flask("monitor", static_folder=None)
    app.add_url_rule("/health", "health", health.answer)
    answer = app.test_client().get("/health")
    assert answer.headers["Cache-Control"] == "no-store"
    return answer.status_code, answer.get_json()


def receive(runtime: Runtime, *, minutes_ago: int) -> None:
    with runtime.store.writing() as session:
        session.add(
            Envelope(
                envelope_id="00000000-0000-4000-8000-000000000001",
                sha256=bytes(32),
                lookup_hash=bytes(32),
                key_id="none",
                received_at=runtime.now() - timedelta(minutes=minutes_ago),
                body=b"{}",
                state="received",
            )
        )


def test_a_server_that_works_says_so_and_nothing_about_the_clinic(health: Health) -> None:
    assert asked(health) == (200, WELL)
    assert CLINIC["--name"] not in str(health.parts())


def test_a_clock_whose_passes_fail_is_late_until_one_ends_well(health: Health, watch: Watch) -> None:
    watch.now = 49 * 60
    assert asked(health) == (200, WELL)
    watch.now = 51 * 60
    assert asked(health) == (503, {**WELL, "clock": "late"})
    health.ticked()
    assert asked(health) == (200, WELL)


def test_the_servers_own_clock_tells_of_each_tick_that_ended_well(
    health: Health, monkeypatch: pytest.MonkeyPatch
) -> None:
    told: list[bool] = []
    (tick,) = [
        job.func for job in make_scheduler(health.runtime, lambda: told.append(True)).get_jobs() if job.id == "tick"
    ]
    tick()
    assert told == [True]

    def fails(*_given: object, **_more: object) -> None:
        raise ValueError

    monkeypatch.setattr("server.jobs.clock.run_tick", fails)
    tick()
    assert told == [True]


def test_an_envelope_that_intake_does_not_take_is_told_after_ten_minutes(health: Health) -> None:
    receive(health.runtime, minutes_ago=9)
    assert asked(health) == (200, WELL)
    with health.runtime.store.writing() as session:
        session.execute(text("DELETE FROM envelope"))
    receive(health.runtime, minutes_ago=11)
    assert asked(health) == (503, {**WELL, "intake": "stuck"})


def test_a_database_of_another_version_is_told(health: Health) -> None:
    with health.runtime.store.writing() as session:
        session.execute(text("UPDATE alembic_version SET version_num = '0001'"))
    assert asked(health) == (503, {**WELL, "schema": "of another version", "intake": "unknown"})


def test_a_database_that_cannot_be_read_is_told(health: Health) -> None:
    health.runtime.store.engine.dispose()
    health.runtime.settings.data.joinpath("yearmark.sqlite3").write_bytes(b"no database" * 1000)
    status, parts = asked(health)
    assert (status, parts["database"]) == (503, "unreachable")
