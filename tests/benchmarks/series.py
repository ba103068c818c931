"""The series page at 10,000 operations with 15 years each, on SQLite, beside a plain read of the same rows.

Invented data: 10,000 shoulders of 9,000 people, operated on between 1990 and 2010; 150,000 timepoints, of which four in five were answered,
with five scores each (600,000 in all). One shoulder in twelve was revised, one person in six died; those with both shoulders operated on
were asked which one they prefer. The floor reads the rows that the figures stand on with the driver alone, and makes nothing of them.
"First figure" is the course with what it stands on, computed and drawn for the widths of the page; "all figures" is the page as it is
fetched. `python -m tests.benchmarks series` measures it alone.
"""

import random
import sqlite3
import statistics
import tempfile
import time
import uuid
from collections.abc import Callable, Iterator
from datetime import date, timedelta
from pathlib import Path

from flask import g

from server.crypto.fields import PatientCipher
from server.forms.stored import StoredAnswer, StoredAnswers, StoredPart, seal_answers
from server.outcomes.series.collector import collector_at_rest
from server.outcomes.series.followings import read_followings
from server.outcomes.series.rows import read_record
from server.schedule.dates import anniversary
from server.staff.page.request_context import read_request_context
from server.staff.series.asked import read_asked
from server.staff.series.parts import PARTS
from server.store.engine import Store
from tests.benchmarks.table import Row
from tests.clinic_case import make_case
from tests.staff.staff_case import Staff, StaffCase, make_staff_case

OPERATIONS, PEOPLE, YEARS = 10_000, 9_000, 15
TODAY = date(2026, 6, 15)
ROUNDS = 3
SCALES = (("pass", "acceptable"), ("pain", "pain"), ("sane", "sane"), ("sst", "total"), ("sst", "percent"))
IMPLANTS = ("resurfacing_hemi", "stemless_hemi", "anatomic_total", "reverse")
AT = "2026-06-15 09:00:00.000000"
FLOOR = (
    "SELECT id, follow_up_id, code, attempt, opens_on, due_on, closes_on, answered_on, window_state, not_expected_on FROM timepoint",
    "SELECT id, timepoint_id, mode, answered_by FROM response WHERE counted = 1",
    "SELECT response_id, instrument, instrument_version, scale, value, text_id FROM score WHERE superseded_at IS NULL",
)


def measure(operations: int = OPERATIONS) -> list[Row]:
    """Builds the database in a temporary folder (about half a minute) and measures."""
    with tempfile.TemporaryDirectory(prefix="yearmark-bench-") as temporary:
        folder = Path(temporary)
        case = make_case(f"sqlite:///{folder / 'clinic.sqlite3'}", folder)
        try:
            staff = make_staff_case(case)
            build(case.store, folder, operations, staff.account_id())
            surgeon = staff.sign_in("surgeon")
            floor = _median(lambda: _floor(folder))
            return [
                Row("series, every operation and its years read", _median(lambda: _read(case.store)), floor, "ms"),
                Row("series, first figure", _median(lambda: _first_figure(staff)), floor, "ms", at_most=1000),
                Row("series, all figures", _median(lambda: _page(surgeon)), floor, "ms", at_most=3000),
            ]
        finally:
            case.store.engine.dispose()


def build(store: Store, folder: Path, operations: int, account_id: int) -> None:
    """Bulk inserts, so that building does not outlast measuring."""
    with store.writing() as session:
        driver = session.connection().connection.driver_connection
        assert driver is not None
        for table, columns, rows in _tables(store, folder, operations, account_id):
            marks = ", ".join("?" * len(columns))
            driver.executemany(f"INSERT INTO {table} ({', '.join(columns)}) VALUES ({marks})", rows)


def _tables(
    store: Store, folder: Path, operations: int, account_id: int
) -> Iterator[tuple[str, tuple[str, ...], Iterator[tuple[object, ...]]]]:
    chance = random.Random(14)
    people = operations * PEOPLE // OPERATIONS
    numbers = range(1, operations + 1)
    whose = {n: (n - 1) % people + 1 for n in numbers}  # the last of them have two shoulders
    days = {n: date(1990, 1, 1) + timedelta(days=chance.randrange(365 * 20)) for n in numbers}
    revised = {n: anniversary(days[n], 1 + chance.randrange(15)) for n in numbers if n % 12 == 0}
    patient = ("id", "handle", "study_number", "first_name", "last_name", "birth_on", "birth_year", "sex", "language", "time_zone",
               "channel_order", "died_on", "made_at")  # fmt: skip
    yield "patient", patient, (_patient(store, p) for p in range(1, people + 1))
    consent = ("patient_id", "kind", "version", "given_on", "given_by")
    yield "consent", consent, ((p, "research", "1", "1990-01-01", "self") for p in range(1, people + 1))
    yield "shoulder", ("id", "patient_id", "side"), ((n, whose[n], ("left", "right")[n > people]) for n in numbers)
    operation = (
        "id",
        "shoulder_id",
        "position",
        "kind",
        "surgery_on",
        "procedure",
        "implant_type",
        "diagnosis",
        "reason",
        "made_at",
    )
    firsts = (
        (n, n, 1, "index", str(days[n]), "arthroplasty", IMPLANTS[(n + n // people) % 4], "osteoarthritis", None, AT)
        for n in numbers
    )
    yield "operation", operation, firsts
    agains = (
        (operations + n, n, 2, "revision", str(on), "reverse", "reverse", None, "infection", AT)
        for n, on in revised.items()
    )
    yield "operation", operation, agains
    follow_up = ("id", "operation_id", "attempt", "plan_id", "plan_version", "started_on")
    yield "follow_up", follow_up, ((n, n, 1, "standard", "1", str(days[n])) for n in numbers)
    asked = [(n, k, chance.random() < 0.8) for n in numbers for k in range(1, YEARS + 1)]
    yield (
        "timepoint",
        _TIMEPOINT,
        (_timepoint(each, whose[n], days[n], n, k, told) for each, (n, k, told) in enumerate(asked, 1)),
    )
    response = ("id", "timepoint_id", "patient_id", "entered_by_id", "counted", "mode", "answered_by", "language", "finished_at",
                "received_at", "recorded_at", "window_state", "operated_again", "answers")  # fmt: skip
    sealed = {p: _preference(folder, p, chance) for p in range(1, operations - people + 1)}  # who has both shoulders
    answers = [(each, n, k) for each, (n, k, told) in enumerate(asked, 1) if told]
    yield "response", response, (
        (each, each, whose[n], account_id, 1, "telephone", "patient", "en", at, at, at, "in", 0, sealed.get(whose[n], b"nobody's"))
        for each, n, k in answers
        for at in [f"{anniversary(days[n], k)} 10:00:00.000000"]
    )  # fmt: skip
    score = ("response_id", "instrument", "instrument_version", "text_id", "scale", "value", "status", "answered", "items", "method",
             "scoring_version", "scored_at")  # fmt: skip
    yield "score", score, (
        (each, instrument, "1", f"{instrument}@1/en/descriptive-1", scale, float(chance.randrange(13)), "scored", 12, 12, "sum", "1", AT)
        for each, _n, _k in answers
        for instrument, scale in SCALES
    )  # fmt: skip


_TIMEPOINT = ("id", "follow_up_id", "patient_id", "code", "attempt", "plan_version", "form_id", "anchor_on", "opens_on", "invites_on",
              "due_on", "closes_on", "answered_at", "answered_on", "window_state", "asked_on", "done_at")  # fmt: skip


def _patient(store: Store, p: int) -> tuple[object, ...]:
    def sealed(words: str, column: str) -> bytes:
        return store.ring.seal(words.encode(), f"patient.{column}")

    born = date(1930 + p % 30, 1 + p % 12, 1 + p % 28)
    return (
        p, uuid.UUID(int=p).hex, f"Y-{p:06d}", sealed(f"First{p}", "first_name"), sealed(f"Last{p}", "last_name"),
        sealed(born.isoformat(), "birth_on"), born.year, ("female", "male")[p % 2], "en", "Europe/Madrid", "email",
        f"{2011 + p % 15}-03-01" if p % 6 == 0 else None, AT,
    )  # fmt: skip


def _preference(folder: Path, p: int, chance: random.Random) -> bytes:
    """The answers of somebody with both shoulders, sealed under a key of their own, whose file is written without an fsync."""
    handle, key = uuid.UUID(int=p).hex, p.to_bytes(32)
    file = folder / "keys" / "patient" / handle[:2] / f"{handle}.key"
    file.parent.mkdir(parents=True, exist_ok=True)
    file.write_bytes(key)
    asked = StoredPart(
        "preference@1", "preference@1/en/descriptive-1", {"1": StoredAnswer("answered", chance.randrange(3))}
    )
    return seal_answers(StoredAnswers((asked,)), PatientCipher(key))


def _timepoint(each: int, patient: int, surgery_on: date, n: int, k: int, told: bool) -> tuple[object, ...]:
    due_on = anniversary(surgery_on, k)
    opens_on, closes_on = due_on - timedelta(days=90), due_on + timedelta(days=90)
    at = f"{due_on} 10:00:00.000000"
    return (
        each, n, patient, f"year-{k}", 1, "1", uuid.UUID(int=each).hex, str(due_on), str(opens_on), str(due_on - timedelta(days=14)),
        str(due_on), str(closes_on), at if told else None, str(due_on) if told else None, "in" if told else None, str(opens_on), at,
    )  # fmt: skip


def _median(run: Callable[[], object]) -> float:
    run()  # the first one loads what a running server has loaded
    times = []
    for _ in range(ROUNDS):
        start = time.perf_counter()
        run()
        times.append((time.perf_counter() - start) * 1000)
    return round(statistics.median(times), 1)


def _floor(folder: Path) -> None:
    database = sqlite3.connect(folder / "clinic.sqlite3")
    read = [len(database.execute(statement).fetchall()) for statement in FLOOR]
    database.close()
    assert all(read)


def _read(store: Store) -> None:
    with store.reading() as session:
        record = read_record(session, TODAY)
        assert len(read_followings(session, record).of) == sum(row.kind == "index" for row in record.rows)


def _first_figure(staff: StaffCase) -> None:
    """As the page makes it, in a request of its own."""
    with staff.app.test_request_context("/series"):
        with collector_at_rest(), staff.case.store.reading() as session:
            g.request_context = read_request_context(session, staff.case.now)
            part = PARTS["course"](read_asked(session))
            assert part.drawn and not part.failed


def _page(surgeon: Staff) -> None:
    page = surgeon.get("/series")
    assert page.status_code == 200 and page.text.count("<svg") >= len(PARTS)
