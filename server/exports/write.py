"""Writes the export set: long, wide and operations in one pass over the data, then codebook and manifest."""

from collections import Counter
from collections.abc import Callable, Iterable
from contextlib import ExitStack
from dataclasses import dataclass, field
from datetime import datetime
from itertools import chain
from pathlib import Path
from typing import TextIO

from sqlalchemy import func, select
from sqlalchemy.orm import Session

from scoring.library import Library
from server.crypto.fields import PatientCipher
from server.exports.cells import Table, cell
from server.exports.codebook import Entry, codebook, plan_entry, text_entry
from server.exports.columns import LONG, OPERATIONS, WIDE, Column, columns_of, wide_columns
from server.exports.facts import ExportRow, FormFacts, OperationFacts
from server.exports.folder import new_folder
from server.exports.manifest import Manifest, entry_of
from server.exports.read import Reader, included
from server.models import InstalledPlan, InstalledText, Operation, Patient, Response, Score, Shoulder, Timepoint
from server.queries.clock import clinic_day, the_clinic
from server.queries.current import NOT_MERGED, VALID_SCORE
from server.schedule.timepoint_code import TimepointCode
from server.store.engine import Store
from server.trust.audit import audit

CODEBOOK = "codebook.csv"


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
            _one_snapshot(session)
            as_of = clinic_day(the_clinic(session), now)
            manifest = _write_files(Reader(session, keys_cipher, library, as_of, all_patients), folder, progress)
        manifest.write(folder)
    with store.writing() as session:
        audit(session, "export:written", "export", now=now, by_id=by_id, as_of=as_of, **manifest.counts)
    return manifest


def count_operations(store: Store, *, now: datetime, all_patients: bool) -> int:
    """How many operations `export_set` will tell of by `progress`."""
    with store.reading() as session:
        as_of = clinic_day(the_clinic(session), now)
        query = select(func.count(Operation.id)).join(Shoulder).join(Patient)
        return session.scalar(query.where(NOT_MERGED, included(Patient.id, as_of, all_patients))) or 0


def _one_snapshot(session: Session) -> None:
    """All queries see one moment. SQLite's reading transaction is one already; PostgreSQL must be asked."""
    if session.get_bind().dialect.name == "postgresql":
        session.connection(execution_options={"isolation_level": "REPEATABLE READ"})


@dataclass
class _Seen:
    """What is counted on the way."""

    counts: Counter[str] = field(default_factory=Counter)
    patients: set[str] = field(default_factory=set)
    instruments: set[str] = field(default_factory=set)
    texts: set[str] = field(default_factory=set)
    plans: set[str] = field(default_factory=set)

    def note(self, operation: OperationFacts, forms: Iterable[FormFacts]) -> None:
        """Counts what the files hold, and remembers which instruments, texts and plans occurred, for codebook and manifest."""
        self.patients.add(operation.study_number)
        self.counts["operations"] += 1
        self.plans.update({operation.plan} if operation.plan else ())
        for form in forms:
            self.plans.add(form.plan)
            self.counts[f"forms_{form.status}"] += 1
            self.counts["forms_unreadable"] += form.missing == "unreadable"
            self.counts["forms_erased"] += form.missing == "erased"
            self.counts["forms_not_sent"] += form.missing == "not_sent"
            self.counts["responses_repeated"] += form.repeats
            self.instruments.update(item.instrument for item in form.items)
            self.instruments.update(score.instrument for score in form.scores)
            self.texts.update(item.text_id for item in form.items)
            self.texts.update(score.text_id for score in form.scores)


def _write_files(reader: Reader, folder: Path, progress: Callable[[int], None]) -> Manifest:
    tables = {LONG: columns_of(LONG), WIDE: _wide(reader), OPERATIONS: columns_of(OPERATIONS)}
    seen = _Seen()
    with ExitStack() as stack:
        files = {name: stack.enter_context(_open(folder / name)) for name in tables}
        written = {name: Table(files[name], [column.name for column in tables[name]]) for name in tables}
        for operation, forms in reader.operations():
            seen.note(operation, forms)
            _write_operation(operation, forms, written, tables)
            progress(1)
        codes = Table(stack.enter_context(_open(folder / CODEBOOK)), Entry._fields)
        for entry in codebook(tables, seen.instruments, reader.library):
            codes.write(entry)
        for text_id in sorted(seen.texts):
            codes.write(text_entry(text_id, reader.session.get(InstalledText, text_id)))
        for name in sorted(seen.plans):
            codes.write(plan_entry(name, reader.session.get(InstalledPlan, tuple(name.split("@")))))
    written[CODEBOOK] = codes
    left_out = {"left_out_no_research_consent": reader.left_out()}
    counts = {"patients": len(seen.patients), **left_out, **dict(sorted(seen.counts.items()))}
    return Manifest(reader.as_of, tuple(entry_of(folder / name, table.rows) for name, table in written.items()), counts)


def _open(file: Path) -> TextIO:
    return file.open("w", encoding="utf-8", newline="")


def _wide(reader: Reader) -> list[Column]:
    """The timepoints and scales that occur, so that the file has no column without a cell."""
    opened = select(Timepoint.code).where(Timepoint.opens_on <= reader.as_of, reader.included(Timepoint.patient_id))
    codes = sorted(reader.session.scalars(opened.distinct()), key=TimepointCode.parse)
    scales = select(Score.instrument, Score.scale).join(Response, Response.id == Score.response_id)
    valid = scales.where(VALID_SCORE, reader.included(Response.patient_id)).distinct()
    return wide_columns(codes, sorted((instrument, scale) for instrument, scale in reader.session.execute(valid)))


def _write_operation(
    operation: OperationFacts, forms: list[FormFacts], written: dict[str, Table], tables: dict[str, list[Column]]
) -> None:
    def write(file: str, row: ExportRow) -> None:
        written[file].write(column.value(row) for column in tables[file])

    write(OPERATIONS, ExportRow(operation))
    if operation.plan is not None:
        write(WIDE, ExportRow(operation, forms={form.code: form for form in _that_count(forms)}))
    for form in forms:
        _write_form(operation, form, written[LONG], tables[LONG])


def _write_form(operation: OperationFacts, form: FormFacts, table: Table, columns: list[Column]) -> None:
    """The form's own row, then its items and scores; what they share is worked out once."""
    cells = [cell(column.value(ExportRow(operation, form))) for column in columns]
    table.write_cells(cells)
    own = [(place, column) for place, column in enumerate(columns) if column.in_form]
    items = (ExportRow(operation, form, item=item) for item in form.items)
    for row in chain(items, (ExportRow(operation, form, score=score) for score in form.scores)):
        for place, column in own:
            cells[place] = cell(column.value(row))
        table.write_cells(cells)


def _that_count(forms: list[FormFacts]) -> list[FormFacts]:
    """For each code the last attempt with answers, or else the last attempt: a later one overwrites an earlier one."""
    return sorted(forms, key=lambda form: (form.missing is None, form.attempt))
