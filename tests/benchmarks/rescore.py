"""Responses rescored a second on SQLite, beside plain SQL that reads the same rows, opens the same answers and writes the same rows.

Invented data: 100,000 yearly forms of 10,000 patients, with six scores each. Every score is stored with another value and scoring version,
so that every one is superseded and written anew: the worst that a new version can bring. The floor takes the same batches and commits; it
opens AES-GCM too, since without that there are no answers, but decodes no JSON, scores nothing and compares nothing. The second figure is
the usual case, where nothing has changed; its floor reads and opens.
"""

import random
import shutil
import sqlite3
import tempfile
import time
import uuid
from collections.abc import Iterator
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

from cryptography.hazmat.primitives.ciphers.aead import AESGCM

from scoring.library import load_library
from scoring.plan_parts import part_items
from server.crypto.encoding import compact_json
from server.crypto.fields import NONCE_BYTES, PatientCipher
from server.forms.stored import read_stored
from server.intake.rescore import AT_ONCE, rescore
from server.intake.scores import ScoreRow, scores_of
from server.models import Base
from server.store.engine import Store, make_engine
from server.store.folder_lock import FolderLock
from server.trust.keys import KeyFolder
from tests.benchmarks.table import Row
from tests.storehouse import ANSWERS_CONTEXT, add_account, demo_clinic

RESPONSES, PATIENTS = 100_000, 10_000
FORMS = 500  # different ones; each is sealed anew for each response
AT = "2026-03-01T09:00:00.000Z"
LATER = datetime(2027, 1, 1, tzinfo=UTC)
STORED = "2026-06-15 09:00:00.000000"
SCORE_COLUMNS = ("response_id", *ScoreRow._fields, "scored_at")
READ = """
    SELECT r.id, r.patient_id, r.answers, p.handle, p.erased_at, p.study_number, s.side, t.code, t.attempt
    FROM response r JOIN patient p ON p.id = r.patient_id JOIN timepoint t ON t.id = r.timepoint_id
    JOIN follow_up f ON f.id = t.follow_up_id JOIN operation o ON o.id = f.operation_id JOIN shoulder s ON s.id = o.shoulder_id
    WHERE (r.patient_id, r.id) > (?, ?) ORDER BY r.patient_id, r.id LIMIT ?
"""
SCORES = (
    f"SELECT id, {', '.join(SCORE_COLUMNS)} FROM score WHERE response_id IN (%s) AND superseded_at IS NULL ORDER BY id"
)
INSERT = f"INSERT INTO score ({', '.join(SCORE_COLUMNS)}) VALUES ({', '.join('?' * len(SCORE_COLUMNS))})"


def measure(responses: int = RESPONSES, patients: int = PATIENTS) -> list[Row]:
    """Builds the database in a temporary folder (about half a minute) and measures."""
    with tempfile.TemporaryDirectory(prefix="yearmark-bench-") as temporary:
        folder, twin = Path(temporary) / "clinic", Path(temporary) / "floor"
        build(folder, responses, patients)
        shutil.copytree(folder, twin)
        writing, floor = responses / _rescored(folder, changed=True), responses / _floor(twin, writes=True)
        again, reading = responses / _rescored(folder, changed=False), responses / _floor(twin, writes=False)
    what = "responses/s"
    return [
        Row("rescore, every score changed; floor reads, opens, writes", writing, floor, what, at_least=0.3),
        Row("rescore, nothing changed; floor reads, opens", again, reading, what),
    ]


def _opened(folder: Path) -> tuple[Store, KeyFolder]:
    folder.mkdir(exist_ok=True)
    keys = KeyFolder(folder / "keys")
    return Store(
        make_engine(f"sqlite:///{folder / 'clinic.sqlite3'}", FolderLock(folder)), keys.first_field_key()
    ), keys


def _rescored(folder: Path, *, changed: bool) -> float:
    """Seconds of one run."""
    store, keys = _opened(folder)
    library = load_library()
    began = time.perf_counter()
    found = rescore(store, keys, library, now=LATER)
    took = time.perf_counter() - began
    assert (found.changed.total() == 0, found.unchanged.total() == 0) == (not changed, changed), found
    assert not found.left_alone
    store.engine.dispose()
    return took


def build(folder: Path, responses: int, patients: int) -> None:
    """Bulk inserts, and key files without an fsync each, so that building does not outlast measuring."""
    store, _keys = _opened(folder)
    Base.metadata.create_all(store.engine)
    with store.writing() as session:
        session.add(demo_clinic())
        account_id = add_account(session).id
        driver = session.connection().connection.driver_connection
        assert driver is not None
        for table, columns, rows in _tables(store, folder, responses, patients, account_id):
            marks = ", ".join("?" * len(columns))
            driver.executemany(f"INSERT INTO {table} ({', '.join(columns)}) VALUES ({marks})", rows)
    store.engine.dispose()


def _tables(
    store: Store, folder: Path, responses: int, patients: int, account_id: int
) -> Iterator[tuple[str, tuple[str, ...], Iterator[tuple[object, ...]]]]:
    numbers, forms = range(1, patients + 1), list(_forms())
    ciphers = {n: PatientCipher(_key_file(folder, n)) for n in numbers}
    patient = ("id", "handle", "study_number", "first_name", "last_name", "birth_on", "birth_year", "sex", "language", "time_zone",
               "channel_order", "made_at")  # fmt: skip
    sealed = store.ring.seal(b"invented", "patient.first_name")
    rest = (1950, "unknown", "en", "Europe/Madrid", "email", STORED)
    yield "patient", patient, ((n, uuid.UUID(int=n).hex, f"Y-{n:06d}", sealed, sealed, sealed, *rest) for n in numbers)
    yield "shoulder", ("id", "patient_id", "side"), ((n, n, ("left", "right")[n % 2]) for n in numbers)
    operation = ("id", "shoulder_id", "position", "kind", "surgery_on", "made_at")
    yield "operation", operation, ((n, n, 1, "index", "2010-06-15", STORED) for n in numbers)
    follow_up = ("id", "operation_id", "attempt", "plan_id", "plan_version", "started_on")
    yield "follow_up", follow_up, ((n, n, 1, "standard", "1", "2010-06-15") for n in numbers)
    timepoint = ("id", "follow_up_id", "patient_id", "code", "attempt", "plan_version", "form_id", "anchor_on", "opens_on", "invites_on",
                 "due_on", "closes_on")  # fmt: skip
    # By time, as they come in: each patient's next year after everybody's last one.
    whose = [(n, n % patients + 1, f"year-{n // patients + 1}") for n in range(responses)]
    days = ("2026-06-15",) * 5
    yield "timepoint", timepoint, ((n + 1, p, p, code, 1, "1", uuid.UUID(int=n).hex, *days) for n, p, code in whose)
    response = ("id", "timepoint_id", "patient_id", "entered_by_id", "counted", "mode", "answered_by", "language", "finished_at",
                "received_at", "recorded_at", "window_state", "answers")  # fmt: skip
    said = (account_id, 1, "telephone", "patient", "en", STORED, STORED, STORED, "in")
    yield (
        "response",
        response,
        ((n + 1, n + 1, p, *said, ciphers[p].seal(forms[n % FORMS][0], ANSWERS_CONTEXT)) for n, p, _code in whose),
    )
    yield "score", SCORE_COLUMNS, ((n + 1, *row) for n, _p, _code in whose for row in forms[n % FORMS][1])


def _key_file(folder: Path, n: int) -> bytes:
    handle, key = uuid.UUID(int=n).hex, n.to_bytes(32)
    file = folder / "keys" / "patient" / handle[:2] / f"{handle}.key"
    file.parent.mkdir(parents=True, exist_ok=True)
    file.write_bytes(key)
    return key


def _forms() -> Iterator[tuple[bytes, list[tuple[Any, ...]]]]:
    """The answers of a yearly form, and its scores as another version would have stored them. One form in twenty has a blank."""
    library, chance = load_library(), random.Random(12)
    entry = next(each for each in library.plans["standard@1"]["timepoints"] if each["code"] == "year-1")
    for number in range(FORMS):
        parts = []
        for part in entry["parts"]:
            definition = library.instrument(part["instrument"])
            answers = {
                name: _answer(definition.by_item[name], chance) for name in part_items(definition, part.get("items"))
            }
            if number % 20 == 0 and definition.id == "sst":
                answers["7"] = {"state": "declined"}
            parts.append(
                {"instrument": definition.spec, "text_id": f"{definition.spec}/en/descriptive-1", "answers": answers}
            )
        rows = [
            each._replace(value=each.value and each.value + 0.5, reason="other words", scoring_version="0")
            for each in scores_of(read_stored(compact_json(parts)), library)
        ]
        yield compact_json(parts), [(*row, STORED) for row in rows]


def _answer(item: Any, chance: random.Random) -> dict[str, Any]:
    if item.asked_if is not None or not item.numbers:
        return {"state": "skipped"}
    return {"state": "answered", "value": chance.choice(list(item.numbers)), "first_at": AT, "last_at": AT}


def _floor(folder: Path, *, writes: bool) -> float:
    database = sqlite3.connect(folder / "clinic.sqlite3", isolation_level=None)
    for pragma in ("journal_mode=wal", "synchronous=full", "foreign_keys=on"):
        database.execute(f"PRAGMA {pragma}")
    began, place, key = time.perf_counter(), (0, 0), ("", AESGCM(bytes(32)))
    aad = ANSWERS_CONTEXT.encode()
    while True:
        database.execute("BEGIN")
        responses = database.execute(READ, (*place, AT_ONCE)).fetchall()
        ids = [row[0] for row in responses]
        scores = database.execute(SCORES % ", ".join("?" * len(ids)), ids).fetchall()
        database.execute("COMMIT")
        if not responses:
            break
        place = (responses[-1][1], responses[-1][0])
        for row in responses:
            if row[3] != key[0]:
                file = folder / "keys" / "patient" / row[3][:2] / f"{row[3]}.key"
                key = (row[3], AESGCM(file.read_bytes()))
            key[1].decrypt(row[2][:NONCE_BYTES], row[2][NONCE_BYTES:], aad)
        if writes:
            _write(database, scores)
    took = time.perf_counter() - began
    database.close()
    return took


def _write(database: sqlite3.Connection, scores: list[tuple[Any, ...]]) -> None:
    database.execute("BEGIN IMMEDIATE")
    database.executemany("UPDATE score SET superseded_at = ? WHERE id = ?", [(STORED, row[0]) for row in scores])
    database.executemany(INSERT, [row[1:] for row in scores])
    database.execute("COMMIT")


if __name__ == "__main__":
    for result in measure():
        print(result)
