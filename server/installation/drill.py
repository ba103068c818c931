"""Proves that a copy can be restored: brings it back into a scratch folder, and compares what is there with what was copied.

Rows are counted table by table, and the whole data set is exported once more as of the instant of the copy: it has to have the bytes it
had then. A copy of an earlier version of the program is counted alone, since its files may be written otherwise now. The scratch folder
lies in the data folder, on a disk that is guarded as the data are; the scratch database of PostgreSQL lies beside the clinic's.
"""

import json
import shutil
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, replace
from datetime import datetime
from pathlib import Path

from sqlalchemy import make_url, text
from sqlalchemy.exc import DBAPIError

from server.config import Settings
from server.exports import ExportProblem, export_digest
from server.installation.restore import Wanted, restore
from server.installation.runtime import Runtime, open_runtime
from server.models import RestoreProof
from server.queries.clock import clinic_now, the_clinic
from server.queries.copies import newest_copy
from server.store.engine import make_engine, one_snapshot
from server.store.migrate import revisions
from server.trust.audit import audit
from server.trust.backup.manifest import DATA, KEYS, CopyProblem, Manifest
from server.trust.backup.place import said_plainly

SCRATCH = "drill"
SAME, DIFFERENT, NOT_COMPARED = "same", "different", "not compared"


@dataclass(frozen=True)
class Proof:
    """`files`: whether the export had the same bytes; of what could not be compared that is so."""

    manifest: Manifest
    files: str

    @property
    def same(self) -> bool:
        """The rows of every table are: a restore with another number fails."""
        return self.files != DIFFERENT


def drill(
    runtime: Runtime, copy: Path | None, keys: Path | None, progress: Callable[[int], None] = lambda _bytes: None
) -> Proof:
    """Of the newest copies, unless they are named. Writes the proof down. Raises CopyProblem and FolderBusy; nothing is proved then."""
    wanted = Wanted(copy or _newest(runtime, DATA), keys or _newest(runtime, KEYS))
    with runtime.lock.copying(), _scratch(runtime.settings) as settings:
        manifest = restore(settings, wanted, now=runtime.real_clock(), progress=progress)
        proof = Proof(manifest, _compare_files(settings, manifest))
    detail = {"tables": len(manifest.counts), "rows": sum(manifest.counts.values()), "files": proof.files}
    with runtime.store.writing() as session:
        row = RestoreProof(
            proved_at=runtime.real_clock(), backup_id=manifest.backup_id, backup_made_at=manifest.made_at,
            same=proof.same, detail=json.dumps(detail, sort_keys=True),
        )  # fmt: skip
        session.add(row)
        session.flush()
        now = clinic_now(the_clinic(session), runtime.real_clock())
        audit(
            session, "backup:tried", f"restore_proof {row.id}", now=now, same=proof.same, backup_id=manifest.backup_id
        )
    return proof


def _newest(runtime: Runtime, kind: str) -> Path:
    with runtime.store.reading() as session:
        found = newest_copy(session, kind)
    if found is None:
        command = {DATA: "yearmark backup", KEYS: "yearmark backup-keys"}[kind]
        raise CopyProblem(f"no {kind} were copied yet, so nothing can be proved; run `{command}` first")
    return Path(found.place)


def _compare_files(settings: Settings, manifest: Manifest) -> str:
    if not manifest.export or manifest.revision != revisions()[-1]:
        return NOT_COMPARED
    runtime = open_runtime(settings)
    try:
        with runtime.store.reading() as session:
            one_snapshot(session)
            digest = export_digest(
                session, runtime.store.ring, runtime.keys.patient_cipher, runtime.library,
                now=datetime.fromisoformat(manifest.export["now"]),
            )  # fmt: skip
    except ExportProblem as problem:
        raise CopyProblem(f"{problem}; nothing was proved") from problem
    finally:
        runtime.store.engine.dispose()
    return SAME if digest == manifest.export["sha256"] else DIFFERENT


@contextmanager
def _scratch(settings: Settings) -> Iterator[Settings]:
    """An empty folder and database, taken away afterwards; what an earlier drill has left, if it was killed, before."""
    folder = settings.data / SCRATCH
    url = make_url(settings.database_url)
    with said_plainly("nothing was proved; the clinic and its copies are as they were"):
        shutil.rmtree(folder, ignore_errors=True)
        folder.mkdir(mode=0o700)
        try:
            if url.get_backend_name() == "sqlite":
                scratch_url = f"sqlite:///{folder / 'yearmark.sqlite3'}"
                yield replace(settings, data=folder, keys=folder / "keys", database_url=scratch_url)
            else:
                with _scratch_database(settings.database_url) as scratch_url:
                    yield replace(settings, data=folder, keys=folder / "keys", database_url=scratch_url)
        finally:
            shutil.rmtree(folder, ignore_errors=True)


@contextmanager
def _scratch_database(address: str) -> Iterator[str]:
    url = make_url(address)
    name = f"{url.database}_drill"
    engine = make_engine(url, None).execution_options(isolation_level="AUTOCOMMIT")
    drop = text(f'DROP DATABASE IF EXISTS "{name}" WITH (FORCE)')
    try:
        with engine.connect() as connection:
            connection.execute(drop)
            connection.execute(text(f'CREATE DATABASE "{name}"'))
        try:
            yield url.set(database=name).render_as_string(hide_password=False)
        finally:
            with engine.connect() as connection:
                connection.execute(drop)
    except DBAPIError as problem:
        raise CopyProblem(
            f"no scratch database {name} could be made ({type(problem.orig).__name__}), so nothing was proved. The account needs the "
            "right to make databases: ALTER ROLE … CREATEDB"
        ) from problem
    finally:
        engine.dispose()
