"""Brings a clinic back out of a copy, into an empty data folder. Nothing half done is ever served.

From before the first byte until all is there `restore-unfinished` lies in the data folder, with which no server starts and no command
works; whoever restores again starts anew. Before that file is written nothing is changed. In the restored database stands that it came out
of a copy, before the file goes: until a data manager has released it nothing is sent (server/queries/restored.py).
"""

import os
import shutil
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path

from sqlalchemy import delete, make_url
from sqlalchemy.exc import DBAPIError, OperationalError

from server.config import ENVIRONMENT_FILE, Settings
from server.installation.backup import count_rows
from server.installation.folders import KEY_FOLDER, folder_problem
from server.installation.key_check import missing_keys, patients_without_key
from server.installation.runtime import Runtime, open_runtime
from server.installation.set_up import RESTORE_UNFINISHED, unusable
from server.models import Restoration, StaffInvitation, StaffSession
from server.store.engine import make_engine, read_only
from server.store.folder_lock import FolderLock
from server.store.migrate import revisions, upgrade
from server.store.whole_file import halves, sync_folder, write_whole
from server.trust.audit import audit
from server.trust.backup.databases import FILES, empty_database, is_empty, is_full, load_database, without_passwords
from server.trust.backup.manifest import DATA, KEYS, MANIFEST, CopyProblem, Manifest
from server.trust.backup.place import MAKE_ROOM, copy_file, plain_problem, said_plainly, verify
from server.trust.keys import KeyFolder

NOTHING = "Nothing was changed"
_BEGUN = "A restore was begun and not finished. Restore again: it starts anew.\nDatabase: %s\n"
_WITH_KEYS = "The keys were brought back by it too, into "
Progress = Callable[[int], None]


class RowsDiffer(CopyProblem):
    """What came back has not the rows that were copied."""


@dataclass(frozen=True)
class Wanted:
    """A copy of the data, and where the keys come from: another copy, or None for the key folder, into which they were put by hand.

    `environment` is the content for a `yearmark.env` that is not there yet; None writes none.
    """

    folder: Path
    keys: Path | None
    environment: bytes | None = None


def restore(settings: Settings, wanted: Wanted, *, now: datetime, progress: Progress = lambda _bytes: None) -> Manifest:
    """`now` is the machine's clock. Raises CopyProblem and FolderBusy; then the folder is as it was, or says that it is unfinished."""
    _refuse_closed_folders(settings, wanted)
    _refuse_other_places(settings)
    _refuse_a_clinic_that_is_there(settings)
    manifest = check_copy(settings, wanted, progress)
    with said_plainly(f"{settings.data} cannot be used. {NOTHING}"):
        settings.data.mkdir(parents=True, exist_ok=True, mode=0o700)
        lock = FolderLock(settings.data)
    with lock.serving(), lock.loading() as loading:
        _refuse_what_is_there(settings)
        with _unfinished(settings, wanted):
            _load(settings, wanted, manifest, loading)
            _open_and_note(settings, manifest, now)
            if wanted.environment is not None:
                write_whole(settings.data / ENVIRONMENT_FILE, wanted.environment)
    return manifest


def _refuse_closed_folders(settings: Settings, wanted: Wanted) -> None:
    """Said before a large copy is read."""
    problem = folder_problem(settings.data, NOTHING, what="the data folder")
    if wanted.keys is not None and problem is None:
        problem = folder_problem(settings.keys, NOTHING, what=KEY_FOLDER)
    if problem:
        raise CopyProblem(problem)


def _refuse_a_clinic_that_is_there(settings: Settings) -> None:
    """Said before anything of its keys: nobody is to take the keys of a living clinic away."""
    if (settings.data / "locks").is_dir():
        with FolderLock(settings.data).serving():
            _refuse_what_is_there(settings)


def check_copy(settings: Settings, wanted: Wanted, progress: Progress = lambda _bytes: None) -> Manifest:
    """All that can be known before anything is written. Raises CopyProblem."""
    manifest = verify(wanted.folder, progress)
    if manifest.kind != DATA:
        raise CopyProblem(
            f"{wanted.folder} is a copy of keys; name one of the data, and this one after --keys. {NOTHING}"
        )
    if manifest.revision not in revisions():
        raise CopyProblem(
            f"a newer version of Yearmark ({manifest.program}) has made this copy; install that version, then restore. {NOTHING}"
        )
    backend = make_url(settings.database_url).get_backend_name()
    if backend != manifest.database:
        raise CopyProblem(
            f"this copy is of {manifest.database} and YEARMARK_DATABASE_URL is for {backend}; let it name an empty database of "
            f"the same kind. {NOTHING}"
        )
    if set(manifest.files) != {FILES[backend]}:
        raise CopyProblem(
            f"{wanted.folder / MANIFEST} was altered: it does not name the one file of the data. {NOTHING}. Take another copy"
        )
    _check_keys(settings, wanted, manifest)
    return manifest


def _check_keys(settings: Settings, wanted: Wanted, manifest: Manifest) -> None:
    folder = settings.keys if wanted.keys is None else wanted.keys
    if wanted.keys is not None:
        verify_keys(wanted.keys, manifest)
        if not KeyFolder(settings.keys).is_empty() and not _keys_are_ours(settings):
            raise CopyProblem(
                f"{settings.keys} holds other keys already. {NOTHING}. Take them away, or leave --keys out to use them"
            )
    missing = [name for name in manifest.key_ids if not (folder / name).is_file()]
    if missing:
        raise CopyProblem(
            f"{folder} does not hold the keys of {manifest.clinic_name} ({missing[0]} is missing), without which no name and no answer "
            f"can be read. {NOTHING}. Name a copy of its keys: --keys FOLDER"
        )


def verify_keys(folder: Path, manifest: Manifest) -> None:
    """Reads a whole copy of keys. Raises CopyProblem unless it is one of the clinic that the manifest of the data names."""
    keys = verify(folder)
    if keys.kind != KEYS or keys.clinic != manifest.clinic:
        raise CopyProblem(f"{folder} holds no keys of {manifest.clinic_name}. {NOTHING}. Name a copy of its keys")


def _begun(settings: Settings) -> bytes:
    """What the mark says: also which database may be emptied, since nobody else's tables may go with a second try."""
    return (_BEGUN % without_passwords(settings.database_url)[0].render_as_string()).encode()


def _with_keys(settings: Settings) -> bytes:
    """What the mark says from the first key on: also which folder may be emptied, since living keys may lie in any other."""
    return os.fsencode(f"{_WITH_KEYS}{settings.keys}\n")


def _said_by_the_mark(settings: Settings) -> bytes | None:
    """None where no restore was begun."""
    with suppress(FileNotFoundError):
        return (settings.data / RESTORE_UNFINISHED).read_bytes()
    return None


def _refuse_other_places(settings: Settings) -> None:
    """What the unfinished restore filled may be emptied by the next one, and nothing else."""
    said = _said_by_the_mark(settings)
    if said is None:
        return
    other = None
    if not said.startswith(_begun(settings)):
        other = ("database", "YEARMARK_DATABASE_URL")
    elif _WITH_KEYS.encode() in said and not _keys_are_ours(settings):
        other = ("key folder", "YEARMARK_KEYS")
    if other:
        what, name = other
        raise CopyProblem(
            f"a restore into {settings.data} was begun with another {what} than {name} names now, and only that one may be emptied "
            f"({settings.data / RESTORE_UNFINISHED} names it). {NOTHING}. Let {name} name it again, or restore into a new folder"
        )


def _refuse_what_is_there(settings: Settings) -> None:
    _refuse_other_places(settings)
    if _said_by_the_mark(settings) is not None:
        return
    own = {"locks", ENVIRONMENT_FILE, *([settings.keys.name] if settings.keys.parent == settings.data else ())}
    own |= {each.name for each in _half_written(settings)}
    there = sorted(each.name for each in settings.data.iterdir() if each.name not in own)
    if there:
        raise CopyProblem(
            f"{settings.data} holds data already ({there[0]}), and a restore never writes over any. {NOTHING}. Name an empty or a new "
            "folder; what is to be replaced is put aside by you: mv DIR DIR-before"
        )
    engine = make_engine(settings.database_url, None)
    try:
        if not is_empty(engine):
            raise CopyProblem(
                f"the database of YEARMARK_DATABASE_URL holds tables already. {NOTHING}. Name an empty one"
            )
    except DBAPIError as problem:
        raise CopyProblem(f"{unusable(problem)}. {NOTHING}") from problem
    finally:
        engine.dispose()


def _half_written(settings: Settings) -> list[Path]:
    """What the mark, or the settings, were written under by a restore or a set-up that was killed just then."""
    return [half for name in (RESTORE_UNFINISHED, ENVIRONMENT_FILE) for half in halves(settings.data / name)]


@contextmanager
def _unfinished(settings: Settings, wanted: Wanted) -> Iterator[None]:
    """The mark lies there meanwhile. After a failure the folder is emptied again; after a power cut the mark stays, and says so.

    Keys that are to be used as they lie there are never taken away.
    """
    mark = settings.data / RESTORE_UNFINISHED
    with _said_what_stays(mark):
        if mark.exists():
            _empty(settings, wanted)
        for half in _half_written(settings):
            half.unlink()
        write_whole(mark, _begun(settings))
        try:
            yield
        except BaseException:
            _empty(settings, wanted)
            mark.unlink()
            raise
        mark.unlink()
        sync_folder(settings.data)


@contextmanager
def _said_what_stays(mark: Path) -> Iterator[None]:
    """A disk that is full, a database that cannot be written or is gone: the mark tells whether the folder could be emptied again."""

    def what() -> str:
        left = f"{mark} stays, and the same command starts anew" if mark.exists() else f"{mark.parent} is empty"
        return f"nothing was restored: {left}. The copy is as it was"

    try:
        yield
    except OSError as problem:
        raise plain_problem(problem, what()) from problem
    except OperationalError as problem:
        if is_full(problem):
            raise CopyProblem(f"the disk of the database is full; {what()}. {MAKE_ROOM}") from problem
        raise CopyProblem(f"{unusable(problem)}; {what()}") from problem


def _empty(settings: Settings, wanted: Wanted) -> None:
    engine = make_engine(settings.database_url, None)
    try:
        empty_database(engine)
    finally:
        engine.dispose()
    if wanted.keys is None:
        return
    if _keys_are_ours(settings):
        shutil.rmtree(
            settings.keys, ignore_errors=True
        )  # of a folder that was made for the account the empty one stays


def _keys_are_ours(settings: Settings) -> bool:
    """Whether an unfinished restore has put them into this very folder, or was about to.

    Marks of earlier versions name no folder: what they put is nobody's to delete.
    """
    return _with_keys(settings) in (_said_by_the_mark(settings) or b"")


def _load(settings: Settings, wanted: Wanted, manifest: Manifest, loading: int) -> None:
    load_database(wanted.folder, settings.database_url, loading)
    engine = make_engine(settings.database_url, None)
    try:
        with engine.connect().execution_options(**read_only(engine)) as connection:
            counts = count_rows(connection)
    finally:
        engine.dispose()
    if counts != manifest.counts:
        different = sorted(set(counts.items()) ^ set(manifest.counts.items()))[0][0]
        raise RowsDiffer(f"the restored table {different} has not as many rows as were copied; take another copy")
    if wanted.keys is not None:
        _put_keys(wanted.keys, settings)


def _put_keys(copy: Path, settings: Settings) -> None:
    """All of them, or none: from the mark on whoever begins anew takes away what lies there, and nothing opens the folder before.

    They are written where they are to lie, since an account may be unable to make another folder beside that one.
    """
    folder = settings.keys
    write_whole(settings.data / RESTORE_UNFINISHED, _begun(settings) + _with_keys(settings))
    for name in verify(copy).files:
        if name != ENVIRONMENT_FILE:
            copy_file(copy / name, folder / name)
    for each in (folder, *(inner for inner in folder.rglob("*") if inner.is_dir())):
        each.chmod(0o700)
        sync_folder(each)
    sync_folder(folder.parent)


def _open_and_note(settings: Settings, manifest: Manifest, now: datetime) -> None:
    """Brought up to this version; then, in one transaction, the database knows that it was restored."""
    runtime = open_runtime(settings)
    try:
        upgrade(runtime.store.engine)
        missing = _patients_without_keys(runtime, manifest) or missing_keys(runtime)
        if missing:
            raise CopyProblem(missing)
        with runtime.store.writing() as session:
            row = Restoration(restored_at=now, backup_id=manifest.backup_id, backup_made_at=manifest.made_at)
            session.add(row)
            session.execute(delete(StaffSession))  # who had signed out since would be signed in again
            session.execute(
                delete(StaffInvitation)
            )  # one that was used, or replaced, since would let somebody in again
            session.flush()
            audit(
                session, "clinic:restored", f"restoration {row.id}", now=now, backup_id=manifest.backup_id,
                made_at=manifest.made_at.isoformat(),
            )  # fmt: skip
    finally:
        runtime.store.engine.dispose()


def _patients_without_keys(runtime: Runtime, manifest: Manifest) -> str | None:
    """Who was enrolled after the keys were copied: their answers could be read by nobody."""
    missing, patients = patients_without_key(runtime)
    if not missing:
        return None
    return (
        f"the keys are older than the data: {missing} of {patients} patients {'has' if missing == 1 else 'have'} no key. Bring newer keys "
        "(where the clinic still runs: `yearmark backup-keys`, then this again), or restore a copy of the data that was made before the "
        f"keys were copied, thus before {manifest.made_at:%Y-%m-%d %H:%M} UTC"
    )
