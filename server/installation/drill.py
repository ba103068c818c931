"""Proves that a copy can be restored: brings it back into a scratch folder, and compares what is there with what was copied.

Rows are counted table by table, and the whole data set is exported once more as of the instant of the copy: it has to have the bytes it
had then. A copy of another version of the program is counted alone, since its files may be written otherwise now. Every drill leaves a
row, also one that failed: whoever reads the page has to know of it.
"""

import json
from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime
from importlib.metadata import version
from pathlib import Path

from server.config import Settings
from server.crypto.fields import FieldProblem
from server.exports import ExportProblem, export_digest
from server.installation.backup import clinic_id
from server.installation.private_files import NotPrivate
from server.installation.restore import Wanted, restore, verify_keys
from server.installation.runtime import Runtime, open_runtime
from server.installation.scratch import scratch_clinic
from server.models import BackupCopy, RestoreProof
from server.queries.clock import clinic_now, the_clinic
from server.queries.copies import DIFFERENT, FAILED, NOT_COMPARED, SAME, newest_copy
from server.queries.restored import was_restored
from server.store.engine import one_snapshot
from server.store.migrate import revisions
from server.trust.audit import audit
from server.trust.backup.manifest import DATA, KEYS, CopyProblem, Manifest, read_manifest


@dataclass(frozen=True)
class Proof:
    """`files`: whether the export had the same bytes, or could not be compared."""

    manifest: Manifest
    files: str

    @property
    def same(self) -> bool:
        """The rows of every table are: a restore with another number fails."""
        return self.files == SAME


@dataclass(frozen=True)
class _Tried:
    folder: Path
    backup_id: str
    made_at: datetime


def drill(
    runtime: Runtime, copy: Path | None, keys: Path | None, progress: Callable[[int], None] = lambda _bytes: None
) -> Proof:
    """Of the newest copies, unless they are named. Writes down how it went. Raises CopyProblem and FolderBusy; nothing is proved then."""
    tried = _to_be_tried(runtime, copy)
    keys = _newest_keys(runtime) if keys is None else _named_keys(runtime, keys)
    with runtime.lock.copying():
        try:
            proof = _prove(runtime, tried.folder, keys, progress)
        except (CopyProblem, NotPrivate) as problem:
            _note(runtime, tried, same=False, files=FAILED, problem=str(problem))
            raise
    counts = proof.manifest.counts
    _note(runtime, tried, same=proof.same, files=proof.files, tables=len(counts), rows=sum(counts.values()))
    return proof


def _to_be_tried(runtime: Runtime, copy: Path | None) -> _Tried:
    """Refuses another clinic's copy: that it can be restored says nothing of this clinic's."""
    if copy is None:
        newest = _newest(runtime, DATA)
        return _Tried(Path(newest.place), newest.backup_id, newest.made_at)
    manifest = read_manifest(copy)
    with runtime.store.reading() as session:
        ours = clinic_id(session)
    if manifest.clinic != ours:
        raise CopyProblem(f"{copy} is a copy of another clinic ({manifest.clinic_name}), so nothing was proved")
    return _Tried(copy, manifest.backup_id, manifest.made_at)


def _newest_keys(runtime: Runtime) -> Path:
    return Path(_newest(runtime, KEYS).place)


def _named_keys(runtime: Runtime, folder: Path) -> Path:
    """Refuses what is no copy of this clinic's keys before anything is tried: a mistyped path is no failed proof."""
    manifest = read_manifest(folder)
    with runtime.store.reading() as session:
        ours = clinic_id(session)
    if (manifest.kind, manifest.clinic) != (KEYS, ours):
        raise CopyProblem(f"{folder} is no copy of this clinic's keys, so nothing was proved. Name a copy of its keys")
    return folder


def _prove(runtime: Runtime, folder: Path, keys: Path, progress: Callable[[int], None]) -> Proof:
    """The keys are read where they lie: a drill that is killed leaves none behind."""
    verify_keys(keys, read_manifest(folder))
    with scratch_clinic(runtime.settings, keys) as settings:
        manifest = restore(settings, Wanted(folder, None), now=runtime.real_clock(), progress=progress)
        return Proof(manifest, _compare_files(settings, manifest))


def _note(runtime: Runtime, tried: _Tried, *, same: bool, **detail: str | int) -> None:
    with runtime.store.writing() as session:
        row = RestoreProof(
            proved_at=runtime.real_clock(), backup_id=tried.backup_id, backup_made_at=tried.made_at,
            same=same, detail=json.dumps(detail, sort_keys=True),
        )  # fmt: skip
        session.add(row)
        session.flush()
        now = clinic_now(the_clinic(session), runtime.real_clock())
        audit(session, "backup:tried", f"restore_proof {row.id}", now=now, same=same, backup_id=tried.backup_id)


def _newest(runtime: Runtime, kind: str) -> BackupCopy:
    with runtime.store.reading() as session:
        found, restored = newest_copy(session, kind), was_restored(session)
    if found is None:
        command, option = {DATA: ("yearmark backup", "--from"), KEYS: ("yearmark backup-keys", "--keys")}[kind]
        when, other = ("since the restore", f", or name an earlier copy: {option} COPY") if restored else ("yet", "")
        raise CopyProblem(f"no {kind} were copied {when}, so nothing can be proved; run `{command}` first{other}")
    return found


def _compare_files(settings: Settings, manifest: Manifest) -> str:
    is_of_this_version = (manifest.program, manifest.revision) == (version("yearmark"), revisions()[-1])
    if not manifest.export or not is_of_this_version:
        return NOT_COMPARED
    runtime = open_runtime(settings)
    try:
        with runtime.store.reading() as session:
            one_snapshot(session)
            digest = export_digest(
                session, runtime.store.ring, runtime.keys.patient_cipher, runtime.library, settings.data,
                now=datetime.fromisoformat(manifest.export["now"]),
            )  # fmt: skip
    except (ExportProblem, FieldProblem) as problem:
        raise CopyProblem(f"{problem}; nothing was proved") from problem
    finally:
        runtime.store.engine.dispose()
    return SAME if digest == manifest.export["sha256"] else DIFFERENT
