"""The worklist at 100,000 patients with 10 timepoints each, on SQLite, beside the narrowest SQL that gives the same page.

Invented data. Half of the patients are inside a yearly window today; a quarter of those have not answered, and most of these were
sent every reminder. `python -m tests.benchmarks worklist` measures it alone.
"""

import random
import statistics
import tempfile
import time
import uuid
from collections.abc import Callable, Iterator
from datetime import UTC, date, datetime, timedelta
from pathlib import Path

from server.models import Base
from server.schedule.dates import anniversary
from server.schedule.timepoints import HORIZON_DAYS
from server.store.engine import Store, make_engine
from server.store.folder_lock import FolderLock
from server.trust.keys import KeyFolder
from server.worklist import history_marks, list_work
from tests.benchmarks.table import Row
from tests.storehouse import demo_clinic
from tests.worklist.ward import no_key

PATIENTS, TIMEPOINTS = 100_000, 10
TODAY = date(2026, 6, 15)
NOW = datetime(2026, 6, 15, 9, 0, tzinfo=UTC)
ROUNDS = 21
PAGE = 50
FLOOR = """
    SELECT t.id, p.first_name, p.last_name FROM (
        SELECT id FROM timepoint
        WHERE done_at IS NULL AND opens_on <= :today AND closes_on >= :today
          AND (ladder_exhausted_on <= :today OR due_on < :today)
        ORDER BY closes_on, ladder_exhausted_on IS NULL, id LIMIT 50
    ) AS t JOIN timepoint ON timepoint.id = t.id JOIN patient AS p ON p.id = timepoint.patient_id
"""


def measure(patients: int = PATIENTS) -> list[Row]:
    """Builds the database in a temporary folder (about a minute) and measures."""
    with tempfile.TemporaryDirectory(prefix="yearmark-bench-") as folder:
        store = build(Path(folder), patients)
        try:
            floor = _median(lambda: _floor(store))
            return [
                Row(
                    f"worklist, first page of {PAGE}, with counts",
                    _median(lambda: _page(store, 0)),
                    floor,
                    "ms",
                    at_most=50,
                ),
                Row("worklist, page 20", _median(lambda: _page(store, 19 * PAGE)), floor, "ms", at_most=50),
                Row("the same with the year marks", _median(lambda: _page_with_marks(store)), floor, "ms", at_most=50),
            ]
        finally:
            store.engine.dispose()


def build(folder: Path, patients: int) -> Store:
    """A store with so many patients; bulk inserts, so that building does not outlast measuring."""
    keys = KeyFolder(folder / "keys")
    engine = make_engine(f"sqlite:///{folder / 'clinic.sqlite3'}", FolderLock(folder))
    Base.metadata.create_all(engine)
    store = Store(engine, keys.first_field_key())
    with store.writing() as session:
        session.add(demo_clinic())
        connection = session.connection()
        for table, columns, rows in _tables(store, patients):
            marks = ", ".join("?" * len(columns))
            insert = f"INSERT INTO {table} ({', '.join(columns)}) VALUES ({marks})"
            driver = connection.connection.driver_connection
            assert driver is not None
            driver.executemany(insert, rows)
    return store


def _tables(store: Store, patients: int) -> Iterator[tuple[str, tuple[str, ...], Iterator[tuple[object, ...]]]]:
    numbers = range(1, patients + 1)
    chance = random.Random(4)  # the same clinic every time
    surgery = {n: TODAY - timedelta(days=chance.randrange(7 * 365, 12 * 365)) for n in numbers}
    columns = ("id", "handle", "study_number", "first_name", "last_name", "birth_on", "birth_year", "sex", "language",
               "time_zone", "channel_order", "email", "made_at")  # fmt: skip
    yield "patient", columns, (_patient(store, n) for n in numbers)
    consent = ("patient_id", "kind", "version", "given_on")
    yield "consent", consent, ((n, "contact", "1", str(surgery[n])) for n in numbers)
    yield "shoulder", ("id", "patient_id", "side"), ((n, n, ("left", "right")[n % 2]) for n in numbers)
    operation = ("id", "shoulder_id", "position", "kind", "surgery_on", "made_at")
    yield "operation", operation, ((n, n, 1, "index", str(surgery[n]), _instant(surgery[n])) for n in numbers)
    follow_up = ("id", "operation_id", "attempt", "plan_id", "plan_version", "started_on", "look_ahead_on")
    yield "follow_up", follow_up, ((n, n, 1, "standard", "1", str(surgery[n]), _ahead(surgery[n])) for n in numbers)
    yield "timepoint", _TIMEPOINT, (row for n in numbers for row in _timepoints(n, surgery[n], chance))
    messages = ("timepoint_id", "step", "channel", "made_at", "lease_no", "tries", "outcome", "done_at")
    silent = (n for n in numbers if n % 7 == 0)
    yield "message", messages, (_message(TIMEPOINTS * n - 1, step) for n in silent for step in range(4))


_TIMEPOINT = ("follow_up_id", "patient_id", "code", "attempt", "plan_version", "form_id", "anchor_on", "opens_on", "invites_on",
              "due_on", "closes_on", "answered_at", "answered_on", "window_state", "ladder_exhausted_on", "done_at",
              "look_again_on")  # fmt: skip


def _patient(store: Store, n: int) -> tuple[object, ...]:
    def sealed(words: str, column: str) -> bytes:
        return store.ring.seal(words.encode(), f"patient.{column}")

    born = date(1930 + n % 50, 1 + n % 12, 1 + n % 28)
    return (
        n, uuid.UUID(int=n).hex, f"Y-{n:06d}", sealed(f"First{n}", "first_name"), sealed(f"Last{n}", "last_name"),
        sealed(born.isoformat(), "birth_on"), born.year, "unknown", "en", "Europe/Madrid", "email",
        sealed(f"p{n}@example.org", "email"), _instant(TODAY),
    )  # fmt: skip


def _next_year(surgery_on: date) -> int:
    return next(k for k in range(1, 40) if anniversary(surgery_on, k) - timedelta(days=90) > TODAY)


def _ahead(surgery_on: date) -> str:
    """The day on which the year after the next is to be made."""
    return str(anniversary(surgery_on, _next_year(surgery_on) + 1) - timedelta(days=90 + HORIZON_DAYS))


def _timepoints(n: int, surgery_on: date, chance: random.Random) -> Iterator[tuple[object, ...]]:
    """The ten anniversaries that end with the next one to come; older ones answered or missed."""
    last = _next_year(surgery_on)
    for k in range(last - TIMEPOINTS + 1, last + 1):
        due_on = anniversary(surgery_on, k) if k > 0 else surgery_on + timedelta(days=42 + k)
        opens_on, closes_on = due_on - timedelta(days=90), due_on + timedelta(days=90)
        done = closes_on < TODAY or (opens_on <= TODAY and chance.random() < 0.75)
        answered = _instant(due_on) if done and chance.random() < 0.9 else None
        exhausted = None if done or opens_on > TODAY or chance.random() < 0.4 else str(TODAY - timedelta(days=3))
        yield (
            n, n, f"year-{k}" if k > 0 else f"day-{42 + k}", 1, "1", uuid.UUID(int=n * 100 + k + 50).hex, str(due_on), str(opens_on),
            str(due_on - timedelta(days=14)), str(due_on), str(closes_on), answered, str(due_on) if answered else None,
            "in" if answered else None, exhausted, _instant(due_on) if done else None, None if done else str(opens_on),
        )  # fmt: skip


def _message(timepoint_id: int, step: int) -> tuple[object, ...]:
    return timepoint_id, f"reminder-{step}", "email", _instant(TODAY), 1, 1, "sent", _instant(TODAY)


def _instant(day: date) -> str:
    return f"{day} 10:00:00.000000"


def _median(run: Callable[[], object]) -> float:
    run()  # the first one fills caches, as a running server has them
    times = []
    for _ in range(ROUNDS):
        start = time.perf_counter()
        run()
        times.append((time.perf_counter() - start) * 1000)
    return round(statistics.median(times), 1)


def _page(store: Store, offset: int) -> None:
    with store.reading() as session:
        assert len(list_work(session, today=TODAY, now=NOW, cipher_of=no_key, limit=PAGE, offset=offset).rows) == PAGE


def _page_with_marks(store: Store) -> None:
    with store.reading() as session:
        rows = list_work(session, today=TODAY, now=NOW, cipher_of=no_key, limit=PAGE).rows
        assert history_marks(session, [row.patient_id for row in rows if row.patient_id], today=TODAY)


def _floor(store: Store) -> None:
    with store.reading() as session:
        rows = session.connection().exec_driver_sql(FLOOR.replace(":today", f"'{TODAY}'")).all()
        opened = [
            (store.ring.open(row[1], "patient.first_name"), store.ring.open(row[2], "patient.last_name"))
            for row in rows
        ]
        assert len(opened) == PAGE
