"""The store's promises: writers take turns across processes, readers never write, foreign keys hold, a full disk stores nothing."""

import json
import multiprocessing
import sqlite3
from datetime import UTC, datetime
from functools import partial
from pathlib import Path
from typing import cast

import pytest
from sqlalchemy import func, select, text
from sqlalchemy.exc import IntegrityError, OperationalError

from server.models import AuditEntry, Base, Consent, Envelope
from server.store.engine import Store, make_engine
from server.store.folder_lock import FolderBusy, FolderLock
from server.trust.audit import audit
from tests.clinic_case import NOW, Case, make_case
from tests.journeys.site import until
from tests.models.turns import RING, Queue, take_turn, turns_of, write_until
from tests.stranger import b64u, best

TURNS = 20


def test_a_server_that_writes_without_pause_lets_waiting_commands_write_between(tmp_path: Path) -> None:
    """It asks again in the instant in which it lets go, and without a queue would have the lock again each time."""
    engine = make_engine(f"sqlite:///{tmp_path}/clinic.sqlite", FolderLock(tmp_path))
    Base.metadata.create_all(engine)
    store, queue = Store(engine, RING), Queue(tmp_path)
    context = multiprocessing.get_context("spawn")
    ended = context.Event()
    commands = [
        context.Process(target=write_until, args=(ended, tmp_path, name), daemon=True) for name in ("one", "two")
    ]
    for command in commands:
        command.start()
    for turn in range(TURNS):
        with store.writing() as session:
            take_turn(session, "server")
            until(partial(queue.has_waiting, 2, len(turns_of(session))), "both commands wait, each in its place")
            if turn == TURNS - 1:
                ended.set()
    for command in commands:
        command.join()
    assert [command.exitcode for command in commands] == [0, 0]
    with store.reading() as session:
        order = "".join(turns_of(session))
    _before, *between, _after = order.split("server")
    assert len(between) == TURNS - 1
    assert all("one" in each and "two" in each for each in between), order
    engine.dispose()


def test_a_maintenance_command_refuses_beside_a_running_server(tmp_path: Path) -> None:
    with (
        FolderLock(tmp_path).serving(),
        pytest.raises(FolderBusy, match="stop it first"),
        FolderLock(tmp_path).serving(),
    ):
        pass
    with FolderLock(tmp_path).serving():
        assert (tmp_path / "locks" / "serving").exists()


def test_a_reader_takes_no_lock_while_a_writer_holds_it(case: Case) -> None:
    with case.store.writing() as writer:
        audit(writer, "test:wrote", "x", now=NOW)
        writer.flush()
        with case.store.reading() as reader:
            assert reader.scalar(select(func.count()).where(AuditEntry.action == "test:wrote")) == 0


def test_an_exception_rolls_back_and_lets_the_next_writer_in(case: Case) -> None:
    with pytest.raises(RuntimeError), case.store.writing() as session:
        audit(session, "test:wrote", "x", now=NOW)
        session.flush()
        raise RuntimeError
    with case.store.writing() as session:
        assert session.scalar(select(func.count()).where(AuditEntry.action == "test:wrote")) == 0


def test_a_row_that_points_nowhere_is_refused_by_the_database(case: Case) -> None:
    with pytest.raises(IntegrityError), case.store.writing() as session:
        session.add(Consent(patient_id=12345, kind="contact", version="1", given_on=NOW.date()))


def test_a_naive_instant_is_refused(case: Case) -> None:
    with pytest.raises(Exception, match="time zone"), case.store.writing() as session:
        session.add(AuditEntry(at=datetime(2026, 1, 1), action="x", thing="y"))  # noqa: DTZ001


def test_instants_come_back_in_utc_whatever_zone_they_had(case: Case) -> None:
    with case.store.writing() as session:
        audit(session, "test:wrote", "x", now=datetime.fromisoformat("2026-06-15T11:00:00+02:00"))
    with case.store.reading() as session:
        assert session.scalars(select(AuditEntry.at).where(AuditEntry.action == "test:wrote")).one() == datetime(
            2026, 6, 15, 9, tzinfo=UTC
        )


def test_sqlite_runs_with_the_measured_recipe(tmp_path: Path) -> None:
    case = make_case(f"sqlite:///{tmp_path}/clinic.sqlite", tmp_path)
    with case.store.reading() as session:
        read = {
            name: session.scalar(text(f"PRAGMA {name}")) for name in ("journal_mode", "synchronous", "foreign_keys")
        }
        tables = session.execute(
            text("SELECT name, strict FROM pragma_table_list WHERE schema='main' AND name NOT LIKE 'sqlite%'")
        )
        assert all(strict for _name, strict in tables)
    assert read == {"journal_mode": "wal", "synchronous": 2, "foreign_keys": 1}
    case.store.engine.dispose()


def test_on_a_full_disk_the_phone_is_told_to_keep_its_form_and_nothing_is_stored(tmp_path: Path) -> None:
    case = make_case(f"sqlite:///{tmp_path}/clinic.sqlite", tmp_path)
    phone = case.phone(case.enrol())
    phone.fetch()
    form = phone.payload(phone.sheet["forms"][0], best, case.now)
    form["padding"] = "x" * 100_000
    posted = {"envelopes": [{"envelope": phone.seal(form), "proof": b64u(phone.derived("proof"))}]}
    with case.store.reading() as session:
        pages = session.scalar(text("PRAGMA page_count"))
        connection = cast(sqlite3.Connection, session.connection().connection.dbapi_connection)
    connection.execute(f"PRAGMA max_page_count={pages}")  # SQLite's own "database or disk is full"
    assert case.post("/api/envelopes", posted) == (503, {"code": "unavailable"}, "300")
    connection.execute("PRAGMA max_page_count=1073741823")
    with case.store.reading() as session:
        assert session.scalar(select(func.count()).select_from(Envelope)) == 0
    status, body, _ = case.post("/api/envelopes", json.loads(json.dumps(posted)))
    assert (status, body["receipts"][0]["status"]) == (200, "stored")
    case.store.engine.dispose()


def test_a_reading_session_cannot_write(case: Case) -> None:
    if case.store.engine.dialect.name == "sqlite":
        with case.store.reading() as session, pytest.raises(OperationalError, match="readonly"):
            session.execute(text("DELETE FROM audit_entry"))
    else:
        with case.store.reading() as session, pytest.raises(Exception, match="read-only"):
            session.execute(text("DELETE FROM audit_entry"))
