"""Writes the export set: long, wide and operations in one pass over the data, then codebook and manifest."""

import hashlib
import tempfile
from collections import Counter
from collections.abc import Callable, Iterable, Sequence
from contextlib import ExitStack
from dataclasses import dataclass, field, replace
from datetime import date, datetime
from itertools import chain
from pathlib import Path

from sqlalchemy import exists, func, select
from sqlalchemy.orm import Session

from scoring.library import Library
from server.crypto.fields import FieldRing, PatientCipher
from server.exports import thresholds
from server.exports.cells import Table, cell
from server.exports.codebook import Entry, codebook, log_entry, plan_entry, text_entry, window_entries
from server.exports.column import Column
from server.exports.columns import LONG, OPERATIONS, SCHEDULE, WIDE, columns_of
from server.exports.facts import ExportRow, FormFacts, ItemFacts, OperationFacts, ScoreFacts, VisitFacts
from server.exports.flow import FLOW, FLOW_COLUMNS, LOG, LOG_COLUMNS, Flow
from server.exports.folder import MANIFEST, new_folder
from server.exports.manifest import FileEntry, Manifest, entry_of
from server.exports.read import Reader
from server.exports.records import (
    COMPONENT_COLUMNS,
    COMPONENTS,
    EVENT_COLUMNS,
    EVENTS,
    FINDING_COLUMNS,
    FINDINGS,
    components,
    events,
    findings,
)
from server.exports.scripts.generated import spss, stata
from server.exports.surgeons import surgeon_codes
from server.exports.thresholds import THRESHOLDS, threshold_rows
from server.exports.wide import RECALLED, in_wide, wide_columns
from server.models import (
    FollowUp,
    InstalledPlan,
    InstalledText,
    Operation,
    Patient,
    Response,
    Score,
    Shoulder,
    Timepoint,
)
from server.queries.clock import clinic_day, the_clinic
from server.queries.current import COUNTED, STANDS, VALID_SCORE
from server.queries.research import included
from server.schedule.status import Status
from server.schedule.timepoint_code import TimepointCode
from server.store.engine import Store, one_snapshot
from server.timepoints.plans import read_plans
from server.trust.audit import audit

SCRIPTS = Path(__file__).parent / "scripts"
READ_THE_CODEBOOK = ("read.py", "read.R")
SPSS, STATA = "read.sps", "read.do"
CODEBOOK = "codebook.csv"
DIGEST_FOLDERS = ".digest-"  # how the names of the scratch folders of `export_digest` begin


def export_set(
    store: Store,
    keys_cipher: Callable[[str], PatientCipher],
    library: Library,
    out: Path,
    *,
    now: datetime,
    by_id: int | None = None,
    all_patients: bool = False,
    progress: Callable[[int], None] = lambda _done: None,
) -> Manifest:
    """Writes the set to the folder `out` and notes it in the audit trail. Raises ExportProblem; then nothing was changed.

    Patients without a consent to research are left out and counted, unless `all_patients`. `keys_cipher`: a patient's
    cipher by handle; LookupError without the key, which is KeysMissing unless the patient was erased. Statuses are those of the
    clinic's day at `now`; with the same data and day every file has the same bytes. `progress` is told of each operation.
    """
    with new_folder(out) as folder:
        with store.reading() as session:
            one_snapshot(session)
            as_of = clinic_day(the_clinic(session), now)
            reader = Reader(session, keys_cipher, library, as_of, surgeon_codes(store.ring), all_patients)
            manifest = _write_files(reader, folder, progress)
        manifest.write(folder)
    with store.writing() as session:
        audit(session, "export:written", "export", now=now, by_id=by_id, as_of=as_of, **manifest.counts)
    return manifest


def count_operations(store: Store, *, now: datetime, all_patients: bool) -> int:
    """How many operations `export_set` will tell of by `progress`."""
    with store.reading() as session:
        as_of = clinic_day(the_clinic(session), now)
        query = select(func.count(Operation.id)).join(Shoulder).join(Patient)
        return session.scalar(query.where(COUNTED, STANDS, included(Patient.id, as_of, all_patients))) or 0


def export_digest(
    session: Session,
    ring: FieldRing,
    keys_cipher: Callable[[str], PatientCipher],
    library: Library,
    scratch: Path,
    *,
    now: datetime,
) -> str:
    """SHA-256 of the manifest that the set of everybody would have, as this session sees the data: the same where all bytes are.

    The files hold answers in clear: they are written to a private folder in `scratch`, which is guarded as the data are, and taken
    away at once. Raises ExportProblem.
    """
    with (
        tempfile.TemporaryDirectory(prefix=DIGEST_FOLDERS, dir=scratch) as name,
        new_folder(Path(name) / "set") as folder,
    ):
        as_of = clinic_day(the_clinic(session), now)
        reader = Reader(session, keys_cipher, library, as_of, surgeon_codes(ring), True)
        _write_files(reader, folder, lambda _done: None).write(folder)
        return hashlib.sha256((folder / MANIFEST).read_bytes()).hexdigest()


@dataclass
class _Seen:
    """What is counted on the way."""

    counts: Counter[str] = field(default_factory=Counter)
    patients: set[str] = field(default_factory=set)
    instruments: set[str] = field(default_factory=set)
    texts: set[str] = field(default_factory=set)
    plans: set[str] = field(default_factory=set)

    def note(self, operation: OperationFacts, forms: Iterable[FormFacts], visits: Iterable[VisitFacts]) -> None:
        """Counts what the files hold, and remembers which instruments, texts and plans occurred, for codebook and manifest."""
        self.patients.add(operation.study_number)
        self.counts["operations"] += 1
        self.plans.update({operation.plan} if operation.plan else ())
        for form in forms:
            self.plans.add(form.plan)
            self.counts[f"forms_{form.status}"] += 1
            self.counts["forms_not_sent"] += form.missing == "not_sent"
            self.counts["responses_repeated"] += form.repeats
            self._note_answers(form)
        for visit in visits:
            self.counts["forms_at_visits"] += 1
            self._note_answers(visit)

    def _note_answers(self, form: FormFacts | VisitFacts) -> None:
        self.counts["forms_unreadable"] += form.missing == "unreadable"
        self.counts["forms_erased"] += form.missing == "erased"
        parts: tuple[ItemFacts | ScoreFacts, ...] = (*form.items, *form.scores)
        self.instruments.update(part.instrument for part in parts)
        self.texts.update(part.text_id for part in parts)


def _write_files(reader: Reader, folder: Path, progress: Callable[[int], None]) -> Manifest:
    seen = _Seen()
    with ExitStack() as stack:
        files = Files(folder, stack, reader.as_of)
        for name in (LONG, OPERATIONS, SCHEDULE):
            files.start(name, columns_of(name))
        files.start(WIDE, _wide(reader))
        flow = Flow(_opened_codes(reader))
        for operation, forms, visits in reader.operations():
            seen.note(operation, [form for form in forms if form.status != Status.UPCOMING], visits)
            flow.in_files(operation, forms)
            _write_operation(operation, forms, visits, files)
            progress(1)
        flow.left_out(reader)
        files.write_all(EVENTS, EVENT_COLUMNS, events(reader))
        files.write_all(FINDINGS, FINDING_COLUMNS, findings(reader))
        files.write_all(COMPONENTS, COMPONENT_COLUMNS, components(reader))
        files.write_all(LOG, LOG_COLUMNS, flow.log_rows(reader.as_of))
        files.write_all(FLOW, FLOW_COLUMNS, flow.flow_rows(reader.as_of))
        files.write_all(THRESHOLDS, thresholds.COLUMNS, threshold_rows(seen.instruments, reader.library, reader.as_of))
        _write_codebook(files, reader, seen)
        _write_scripts(files)
    left_out = {"left_out_no_research_consent": reader.left_out()}
    counts = {"patients": len(seen.patients), **left_out, **dict(sorted(seen.counts.items()))}
    return Manifest(reader.as_of, files.entries(), counts)


class Files:
    """The files of a set while they are written, with their columns."""

    def __init__(self, folder: Path, stack: ExitStack, as_of: date) -> None:
        self.folder, self.as_of = folder, as_of
        self.columns: dict[str, Sequence[Column]] = {}
        self.tables: dict[str, Table] = {}
        self._stack, self._texts = stack, list[str]()

    def start(self, name: str, columns: Sequence[Column]) -> None:
        self.columns[name] = columns
        self.tables[name] = self.table(name, [column.name for column in columns])

    def table(self, name: str, header: Iterable[str]) -> Table:
        opened = (self.folder / name).open("w", encoding="utf-8", newline="")
        return Table(self._stack.enter_context(opened), header)

    def write(self, name: str, row: object) -> None:
        self.tables[name].write(column.value(row) for column in self.columns[name])

    def write_all(self, name: str, columns: Sequence[Column], rows: Iterable[object]) -> None:
        """A file whose rows come one after another."""
        self.start(name, columns)
        for row in rows:
            self.write(name, row)

    def write_text(self, name: str, text: str) -> None:
        (self.folder / name).write_text(text, encoding="utf-8", newline="")
        self._texts.append(name)

    def entries(self) -> tuple[FileEntry, ...]:
        """For the manifest; once every file is closed."""
        rows = {name: table.rows for name, table in self.tables.items()}
        return tuple(entry_of(self.folder / name, rows.get(name, 0)) for name in (*self.tables, *self._texts))


def _write_codebook(files: Files, reader: Reader, seen: _Seen) -> None:
    book = files.table(CODEBOOK, Entry._fields)

    def write(entries: Iterable[Entry]) -> None:
        for entry in entries:
            book.write(entry._replace(as_of=reader.as_of))

    write(codebook(files.columns, seen.instruments, reader.library))
    write([log_entry(the_clinic(reader.session).log_basis)])
    write(text_entry(text_id, reader.session.get(InstalledText, text_id)) for text_id in sorted(seen.texts))
    plans = read_plans(reader.session)
    for name in sorted(seen.plans):
        write([plan_entry(name, reader.session.get(InstalledPlan, tuple(name.split("@"))))])
        write(window_entries(plans.named(name)) if name in plans.usable else [])
    files.tables[CODEBOOK] = book


def _write_scripts(files: Files) -> None:
    for name in READ_THE_CODEBOOK:
        files.write_text(name, (SCRIPTS / name).read_text(encoding="utf-8"))
    files.write_text(SPSS, spss(files.columns))
    files.write_text(STATA, stata(files.columns))


def _opened_codes(reader: Reader) -> list[str]:
    """The timepoints that have opened for anybody in the files, in the order of time."""
    opened = select(Timepoint.code).where(Timepoint.opens_on <= reader.as_of, reader.included(Timepoint.patient_id))
    opened = (
        opened.join(FollowUp).join(Operation).join(Patient, Patient.id == Timepoint.patient_id).where(COUNTED, STANDS)
    )
    return sorted(reader.session.scalars(opened.distinct()), key=TimepointCode.parse)


def _wide(reader: Reader) -> list[Column]:
    """The timepoints and scales that occur, so that the file has no column without a cell."""
    codes = _opened_codes(reader)
    scales = select(Score.instrument, Score.scale).join(Response, Response.id == Score.response_id)
    valid = scales.where(
        VALID_SCORE, Response.timepoint_id.is_not(None), reader.included(Response.patient_id)
    ).distinct()
    found = sorted((instrument, scale) for instrument, scale in reader.session.execute(valid))
    recalled = exists().where(Timepoint.window_state == RECALLED, reader.included(Timepoint.patient_id))
    return wide_columns(codes, found, recalled=bool(reader.session.scalar(select(recalled))))


def _write_operation(operation: OperationFacts, forms: list[FormFacts], visits: list[VisitFacts], files: Files) -> None:
    files.write(OPERATIONS, ExportRow(operation))
    if operation.plan is not None:
        files.write(WIDE, ExportRow(operation, forms=in_wide(forms)))
    for form in forms:
        files.write(SCHEDULE, ExportRow(operation, form))
        if form.status != Status.UPCOMING:
            _write_form(ExportRow(operation, form), form, files.tables[LONG], files.columns[LONG])
    for visit in visits:
        _write_form(ExportRow(operation, visit=visit), visit, files.tables[LONG], files.columns[LONG])


def _write_form(row: ExportRow, form: FormFacts | VisitFacts, table: Table, columns: Sequence[Column]) -> None:
    """The form's own row, then its items and scores; what they share is worked out once."""
    cells = [cell(column.value(row)) for column in columns]
    table.write_cells(cells)
    own = [(place, column) for place, column in enumerate(columns) if column.in_form]
    items = (replace(row, item=item) for item in form.items)
    for each in chain(items, (replace(row, score=score) for score in form.scores)):
        for place, column in own:
            cells[place] = cell(column.value(each))
        table.write_cells(cells)
