"""Forms a second over HTTP until they are responses with scores, beside the same work without HTTP and without the ORM.

The floor does by hand what has to be done to have the same rows: commit the envelopes, open and verify each, check and score its answers,
seal what is kept, and write response, scores, flags and transition with plain SQL, one commit for receiving and one for recording a post.
"""

import http.client
import json
import shutil
import sqlite3
import subprocess
import sys
import tempfile
import time
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

from cryptography.hazmat.primitives.asymmetric import ec
from sqlalchemy import select

from scoring.library import load_library
from scoring.parts import score_part
from scoring.strict_json import load_strict_json
from server.clinic.entries import ShoulderEntry
from server.crypto.envelope import open_envelope, parse_envelope
from server.forms.asked import AskedPart
from server.forms.check import check_answers
from server.forms.stored import write_stored
from server.models import Patient
from tests.benchmarks.table import Row
from tests.clinic_case import Case, make_case
from tests.stranger import b64u, best

FORMS = 1640
WARM = 240  # not timed: a running server has seen its statements before, in every size of batch
BATCHES = (20, 1)
WANTED = {20: 0.5, 1: None}


def measure() -> list[Row]:
    with tempfile.TemporaryDirectory(prefix="yearmark-bench-") as folder:
        return [row for size in BATCHES for row in _measure_size(Path(folder) / str(size), size)]


def _measure_size(folder: Path, size: int) -> list[Row]:
    folder.mkdir()
    case, posts, answer_keys = _prepare(folder)
    twin = folder.with_name(f"{folder.name}-floor")
    shutil.copytree(folder, twin)
    served = (FORMS - WARM) / _serve(folder, posts, size)
    floor = (FORMS - WARM) / _floor(twin, case, posts, answer_keys, size)
    case.store.engine.dispose()
    return [Row(f"ingest, {size} a post", served, floor, "forms/s", at_least=WANTED[size])]


def _prepare(folder: Path) -> tuple[Case, list[dict[str, str]], list[bytes]]:
    case = make_case(f"sqlite:///{folder / 'yearmark.sqlite3'}", folder, datetime.now(UTC))
    operated = case.today - timedelta(days=365)
    posts, answer_keys = [], []
    for number in range(FORMS // 2):
        sides = [ShoulderEntry(side=side, surgery_on=operated) for side in ("left", "right")]
        phone = case.phone(case.enrol(*sides, first_name=f"Invented{number}"))
        phone.fetch()
        proof = b64u(phone.derived("proof"))
        for form in phone.sheet["forms"]:
            posts.append({"envelope": phone.seal(phone.payload(form, best, case.now)), "proof": proof})
            answer_keys.append(phone.derived("answer key"))
    case.store.engine.dispose()
    return case, posts, answer_keys


def _serve(folder: Path, posts: list[dict[str, str]], size: int) -> float:
    """Seconds from the first byte sent until the last form is recorded, by the real server in its own process."""
    command = [sys.executable, "-m", "tests.benchmarks.ingest_server", str(folder)]
    with subprocess.Popen(command, stdout=subprocess.PIPE, text=True) as server:
        assert server.stdout is not None
        port = int(server.stdout.readline())
        connection = http.client.HTTPConnection("127.0.0.1", port)
        bodies = [json.dumps({"envelopes": posts[start : start + size]}) for start in range(0, FORMS, size)]
        reader = sqlite3.connect(folder / "yearmark.sqlite3", isolation_level=None)
        _post_all(connection, reader, bodies[: WARM // size], WARM)
        started = time.perf_counter()
        _post_all(connection, reader, bodies[WARM // size :], FORMS)
        took = time.perf_counter() - started
        server.terminate()
    return took


def _post_all(
    connection: http.client.HTTPConnection, reader: sqlite3.Connection, bodies: list[str], recorded: int
) -> None:
    """Sends, and waits until so many forms are recorded in all."""
    for body in bodies:
        connection.request("POST", "/api/envelopes", body, {"Content-Type": "application/json"})
        answer = connection.getresponse()
        receipts = json.loads(answer.read())["receipts"]
        assert all(receipt["status"] == "stored" for receipt in receipts)
    while reader.execute("SELECT count(*) FROM response").fetchone()[0] < recorded:
        time.sleep(0.002)


def _floor(folder: Path, case: Case, posts: list[dict[str, str]], answer_keys: list[bytes], size: int) -> float:
    work = _Floor(folder, case)
    pairs = list(zip(posts, answer_keys, strict=True))
    for start in range(0, WARM, size):
        work.post(pairs[start : start + size])
    started = time.perf_counter()
    for start in range(WARM, FORMS, size):
        work.post(pairs[start : start + size])
    took = time.perf_counter() - started
    work.database.close()
    return took


class _Floor:
    def __init__(self, folder: Path, case: Case) -> None:
        self.database = sqlite3.connect(folder / "yearmark.sqlite3", isolation_level=None)
        for pragma in ("journal_mode=wal", "synchronous=full", "foreign_keys=on"):
            self.database.execute(f"PRAGMA {pragma}")
        self.library, self.keys, self.case = load_library(), case.runtime.keys, case
        key_id = self.database.execute("SELECT key_id FROM sealing_key").fetchone()[0]
        self.private: ec.EllipticCurvePrivateKey = self.keys.sealing_key(key_id)
        self.forms = dict(self.database.execute("SELECT form_id, id || ' ' || patient_id FROM timepoint").fetchall())
        with case.store.reading() as session:
            self.handles = {row.id: row.handle for row in session.execute(select(Patient.id, Patient.handle))}
        self.now = case.now.replace(tzinfo=None).isoformat(" ")

    def post(self, pairs: list[tuple[dict[str, str], bytes]]) -> None:
        self.database.execute("BEGIN IMMEDIATE")
        received = [self.receive(post["envelope"]) for post, _key in pairs]
        self.database.execute("COMMIT")
        self.database.execute("BEGIN IMMEDIATE")
        for (post, key), envelope_id in zip(pairs, received, strict=True):
            self.record(post["envelope"], key, envelope_id)
        self.database.execute("COMMIT")

    def receive(self, text: str) -> int:
        envelope = parse_envelope(text)
        row = (
            str(envelope.header.envelope_id),
            envelope.sha256,
            envelope.header.lookup,
            envelope.header.key_id,
            self.now,
        )
        made = self.database.execute(
            "INSERT INTO envelope (envelope_id, sha256, lookup_hash, key_id, received_at, same_id_other_content, body,"
            " body_wrapped, state) VALUES (?, ?, ?, ?, ?, 0, ?, 0, 'received') RETURNING id",
            (*row, text.encode()),
        ).fetchone()
        return int(made[0])

    def record(self, text: str, key: bytes, envelope_id: int) -> None:
        payload = load_strict_json(open_envelope(parse_envelope(text), self.private, [key]))
        timepoint_id, patient_id = map(int, self.forms[payload["form_id"]].split())
        asked = [AskedPart(part["instrument"], tuple(part["answers"])) for part in payload["parts"]]
        stored = check_answers(self.library, asked, payload["parts"]).stored
        parts = [(self.library.instrument(part.instrument), part.answers) for part in stored.parts]
        scores = [each for definition, answers in parts for each in score_part(definition, answers)]
        cipher = self.keys.patient_cipher(self.handles[patient_id])
        response = (timepoint_id, patient_id, envelope_id, "own_phone", "patient", "en", *[self.now] * 4, "in")
        response_id = self.database.execute(
            "INSERT INTO response (timepoint_id, patient_id, envelope_id, counted, mode, answered_by, language, opened_at,"
            " finished_at, received_at, recorded_at, window_state, answers) VALUES (?,?,?,1,?,?,?,?,?,?,?,?,?) RETURNING id",
            (*response, cipher.seal(write_stored(stored), "response.answers")),
        ).fetchone()[0]
        self.database.executemany(
            "INSERT INTO score (response_id, instrument, instrument_version, text_id, scale, value, status, reason, answered,"
            " items, method, scoring_version, scored_at) VALUES (?,?,?,?,?,?,?,?,?,?,?,?,?)",
            [self._score_row(response_id, each) for each in scores],
        )
        flags = [(kind, patient_id, timepoint_id, response_id, item, self.now) for kind, item in _FLAGS]
        self.database.executemany(
            "INSERT INTO flag (kind, patient_id, timepoint_id, response_id, item, raised_at) VALUES (?,?,?,?,?,?)",
            flags,
        )
        self.database.execute(
            "INSERT INTO transition (timepoint_id, at, status_before, status_after, reason) VALUES (?,?,'open','answered','x')",
            (timepoint_id, self.now),
        )
        self.database.execute(
            "UPDATE timepoint SET answered_at=?, answered_on=?, window_state='in', done_at=?, look_again_on=NULL WHERE id=?",
            (self.now, self.now[:10], self.now, timepoint_id),
        )
        wrapped = cipher.seal(text.encode(), "envelope.body")
        self.database.execute(
            "UPDATE envelope SET body=?, body_wrapped=1, state='recorded' WHERE id=?", (wrapped, envelope_id)
        )

    def _score_row(self, response_id: int, each: Any) -> tuple[Any, ...]:
        names = (
            response_id,
            each.instrument,
            each.version,
            f"{each.instrument}@1/en/descriptive-1",
            each.scale,
            each.value,
        )
        return (
            *names,
            each.status,
            each.reason,
            each.answered,
            each.items,
            each.method,
            each.scoring_version,
            self.now,
        )


_FLAGS = (("operated_elsewhere", "since@1/1"), ("contact_change", "since@1/6"))


if __name__ == "__main__":
    for result in measure():
        print(result)
