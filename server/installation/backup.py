"""Copies a clinic, beside its running server or without one: the data to one place, the keys to another.

The database is copied out of one snapshot, from which the rows are counted and the whole data set is exported too, so that whoever
restores the copy can prove that it holds the same. What lies in the folder `mailbox` is left out: it is letters with names and links,
which after a restore nobody should send a second time. So are locks and what a demo prints about itself. The machine's own settings
in `yearmark.env` go with the keys, since they may hold a password and whoever has both reads everything anyhow.
"""

import hashlib
import secrets
from collections.abc import Callable, Collection
from dataclasses import dataclass, replace
from importlib.metadata import version
from pathlib import Path

from alembic.runtime.migration import MigrationContext
from sqlalchemy import Connection, func, inspect, select, table
from sqlalchemy.exc import DBAPIError
from sqlalchemy.orm import Session

from server.config import ENVIRONMENT_FILE
from server.crypto.fields import FieldProblem
from server.exports import ExportProblem, export_digest
from server.installation.folders import folder_problem
from server.installation.key_check import key_problem
from server.installation.runtime import Runtime
from server.installation.scratch import take_away_leftovers
from server.installation.set_up import unusable
from server.models import BackupCopy, SealingKey
from server.queries.clock import clinic_now, the_clinic
from server.queries.copies import newest_copy, newest_proof
from server.store.engine import one_snapshot
from server.trust.audit import audit
from server.trust.backup.databases import copy_database, is_full
from server.trust.backup.manifest import DATA, KEYS, CopyProblem, Manifest
from server.trust.backup.place import copy_file, finish, finished_copies, new_copy, said_plainly, take_away
from server.trust.backup.thinning import Copied, no_longer_kept

NOT_COUNTED = "alembic_version"
Progress = Callable[[int, int], None]


@dataclass(frozen=True)
class Copy:
    """A finished copy: where it lies, what it holds, and which older ones the rule has taken away."""

    folder: Path
    manifest: Manifest
    taken_away: tuple[Path, ...]


def copy_data(runtime: Runtime, place: Path, progress: Progress = lambda _done, _all: None) -> Copy:
    """Writes a copy of the database into a new folder in `place`. Raises CopyProblem and FolderBusy; then nothing was changed."""
    _refuse_place(runtime, place, DATA)
    with runtime.lock.copying():
        take_away_leftovers(runtime.settings)
        manifest = _begin(runtime, DATA)
        with new_copy(place, folder_name(manifest), manifest.clinic) as folder:
            manifest = _write_data(runtime, folder, manifest, progress)
            manifest = finish(folder, folder_name(manifest), manifest)
        return _finished(runtime, place, manifest)


def copy_keys(runtime: Runtime, place: Path) -> Copy:
    """Writes a copy of the key folder into a new folder in `place`, which must not be one for the data. Raises CopyProblem."""
    _refuse_place(runtime, place, KEYS)
    with runtime.lock.copying():
        _refuse_missing_keys(runtime)
        manifest = _begin(runtime, KEYS)
        with new_copy(place, folder_name(manifest), manifest.clinic) as folder:
            for file in sorted(each for each in runtime.keys.folder.rglob("*") if _is_key(each)):
                copy_file(file, folder / file.relative_to(runtime.keys.folder))
            if environment_file(runtime).exists():
                copy_file(environment_file(runtime), folder / ENVIRONMENT_FILE)
            manifest = finish(folder, folder_name(manifest), manifest)
        return _finished(runtime, place, manifest)


def _refuse_missing_keys(runtime: Runtime) -> None:
    """A key folder that is gone or was not mounted makes a copy that looks like one, and opens nothing."""
    problem = key_problem(runtime)
    if problem:
        raise CopyProblem(f"no copy of the keys was made: {problem}")


def environment_file(runtime: Runtime) -> Path:
    return runtime.settings.data / ENVIRONMENT_FILE


def _is_key(file: Path) -> bool:
    """Not what a key is written under until it is whole."""
    return file.is_file() and not file.name.startswith(".")


def folder_name(manifest: Manifest) -> str:
    return f"{manifest.made_at:%Y-%m-%dT%H%M%SZ}-{manifest.backup_id[:8]}"


def _refuse_place(runtime: Runtime, place: Path, kind: str) -> None:
    """Data and keys in one place open everything to whoever takes it; a copy beside the data is lost with them."""
    resolved = place.resolve()
    for own in (runtime.settings.data.resolve(), runtime.keys.folder.resolve()):
        if _one_in_the_other(own, resolved):
            raise CopyProblem(f"{place} is lost together with {own}; no copy was made. Name a place on another disk")
    problem = folder_problem(place, "No copy was made; the clinic and its earlier copies are as they were")
    if problem:
        raise CopyProblem(problem)
    with runtime.store.reading() as session:
        other = newest_copy(session, DATA if kind == KEYS else KEYS)
    if other is not None and _one_in_the_other(Path(other.place).parent.resolve(), resolved):
        raise CopyProblem(_together(place))
    if any(manifest.kind != kind for _, manifest in finished_copies(place)):
        raise CopyProblem(_together(place))


def _one_in_the_other(one: Path, other: Path) -> bool:
    return one.is_relative_to(other) or other.is_relative_to(one)


def _together(place: Path) -> str:
    return (
        f"data and keys would both lie in {place}, and whoever takes both reads everything; no copy was made. "
        "Name another place, best on another disk that is kept elsewhere"
    )


def clinic_id(session: Session) -> str:
    """The id of the first sealing key, which the set-up makes once: no two clinics share one, and no row goes."""
    first = select(SealingKey.key_id).order_by(SealingKey.made_at, SealingKey.key_id).limit(1)
    return session.scalars(first).one()


def _begin(runtime: Runtime, kind: str) -> Manifest:
    with runtime.store.reading() as session:
        return Manifest(
            kind=kind,
            backup_id=secrets.token_hex(16),
            made_at=runtime.real_clock().replace(microsecond=0),
            clinic=clinic_id(session),
            clinic_name=the_clinic(session).name,
            program=version("yearmark"),
        )


def _write_data(runtime: Runtime, folder: Path, manifest: Manifest, progress: Progress) -> Manifest:
    with runtime.store.reading() as session:
        one_snapshot(session)
        connection = session.connection()
        counts = count_rows(connection)
        sealing = session.scalars(select(SealingKey.key_id).where(SealingKey.retired_at.is_(None))).all()
        copy_database(session, runtime.settings.database_url, folder, progress)
        key_ids = [
            *(f"sealing/{each}.pem" for each in sealing),
            *(f"field/{each}.key" for each in runtime.store.ring.keys),
        ]
        return replace(
            manifest,
            database=connection.dialect.name,
            revision=MigrationContext.configure(connection).get_current_revision() or "",
            key_ids=tuple(sorted(key_ids)),
            counts=counts,
            export=_export(session, runtime),
        )


def _export(session: Session, runtime: Runtime) -> dict[str, str]:
    """Empty where the files cannot be made now, such as without a key or without room: the data are copied all the same."""
    now = clinic_now(the_clinic(session), runtime.real_clock())
    try:
        digest = export_digest(
            session, runtime.store.ring, runtime.keys.patient_cipher, runtime.library, runtime.settings.data, now=now
        )
    except (ExportProblem, FieldProblem, OSError):
        return {}
    return {"now": now.isoformat(), "sha256": digest}


def count_rows(connection: Connection) -> dict[str, int]:
    """The rows of every table, by its name."""
    names = sorted(set(inspect(connection).get_table_names()) - {NOT_COUNTED})
    return {name: connection.scalar(select(func.count()).select_from(table(name))) or 0 for name in names}


def _finished(runtime: Runtime, place: Path, manifest: Manifest) -> Copy:
    """Once the copy has its name: the row, then old copies of this clinic go by the rule."""
    folder = place / folder_name(manifest)
    try:
        proved = _note(runtime, folder, manifest)
    except DBAPIError as problem:
        said = "its disk is full" if is_full(problem) else unusable(problem)
        raise CopyProblem(
            f"the copy {folder} is whole and stays, but the clinic's database could not note it: {said}. The clinic is as it was. "
            "Mend that, then copy again"
        ) from problem
    return Copy(folder, manifest, _thin(place, manifest, proved))


def _note(runtime: Runtime, folder: Path, manifest: Manifest) -> set[str]:
    """Returns the copy that the last proof was made from, which stays."""
    digest = hashlib.sha256(manifest.to_bytes()).digest()
    with runtime.store.writing() as session:
        row = BackupCopy(
            kind=manifest.kind, backup_id=manifest.backup_id, made_at=manifest.made_at, place=str(folder.resolve()),
            sha256=digest, length=manifest.length,
        )  # fmt: skip
        session.add(row)
        session.flush()
        now = clinic_now(the_clinic(session), runtime.real_clock())
        audit(
            session, "backup:made", f"backup_copy {row.id}", now=now, kind=manifest.kind, backup_id=manifest.backup_id,
            sha256=digest.hex(),
        )  # fmt: skip
        proof = newest_proof(session)
        return {proof.backup_id} if proof else set[str]()


def _thin(place: Path, newest: Manifest, proved: Collection[str]) -> tuple[Path, ...]:
    """Of the same clinic and kind alone: other things in the place are not ours to take away."""
    folders = {
        manifest.backup_id: (folder, manifest)
        for folder, manifest in finished_copies(place)
        if (manifest.clinic, manifest.kind) == (newest.clinic, newest.kind)
    }
    copies = [Copied(backup_id, manifest.made_at) for backup_id, (_, manifest) in folders.items()]
    gone = no_longer_kept(copies, now=newest.made_at, kept_anyhow=proved)
    with said_plainly("the new copy is whole; an old one that goes by the rule could not be taken away"):
        for each in gone:
            take_away(folders[each.backup_id][0], newest.clinic)
    return tuple(folders[each.backup_id][0] for each in gone)
