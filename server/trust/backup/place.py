"""The place where copies lie: a folder for each, written under another name, read again, and renamed when it is whole.

A copy that was broken off keeps a name that begins with a dot; the next copy of the same clinic takes it away.
"""

import errno
import os
import shutil
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from dataclasses import replace
from pathlib import Path

from server.store.whole_file import sync_folder
from server.trust.backup.manifest import MANIFEST, CopyProblem, Manifest, entry_of, read_manifest

UNFINISHED = ".unfinished-"
MAKE_ROOM = "Make room there, then give the same command again"
Progress = Callable[[int], None]


def sync_file(file: Path) -> None:
    with file.open("rb") as opened:
        os.fsync(opened.fileno())


def copy_file(source: Path, target: Path) -> None:
    """Durable when it returns, except for its name. Nobody else can read it or a folder made for it, at no instant."""
    _make_private(target.parent)
    with source.open("rb") as opened, open(target, "wb", opener=_unread_by_others) as written:
        shutil.copyfileobj(opened, written)
    sync_file(target)


def _make_private(folder: Path) -> None:
    """With the missing ones above it: `mkdir` gives its mode to the last one alone."""
    if not folder.is_dir():
        _make_private(folder.parent)
        folder.mkdir(exist_ok=True, mode=0o700)


def _unread_by_others(path: str, flags: int) -> int:
    return os.open(path, flags, 0o600)


@contextmanager
def said_plainly(what: str) -> Iterator[None]:
    """A disk that is full, or a place that may not be written, in a sentence."""
    try:
        yield
    except OSError as problem:
        raise plain_problem(problem, what) from problem


def plain_problem(problem: OSError, what: str) -> CopyProblem:
    """`what` says what is safe, without a full stop."""
    if problem.errno in (errno.ENOSPC, errno.EDQUOT, errno.EFBIG):
        return CopyProblem(f"the disk is full; {what}. {MAKE_ROOM}")
    where = f" ({problem.filename})" if problem.filename else ""
    return CopyProblem(f"{problem.strerror or problem}{where}; {what}")


@contextmanager
def new_copy(place: Path, name: str, clinic: str) -> Iterator[Path]:
    """A folder to write a copy into; at the end of the block `finish` has to have been called on it, or it disappears."""
    with said_plainly(f"no copy was made in {place}. The clinic and its earlier copies are as they were"):
        place.mkdir(parents=True, exist_ok=True, mode=0o700)
        _take_away_unfinished(place, clinic)
        temporary = place / f"{UNFINISHED}{clinic}-{name}"
        temporary.mkdir(mode=0o700)
        try:
            yield temporary
        finally:
            shutil.rmtree(temporary, ignore_errors=True)


def _take_away_unfinished(place: Path, clinic: str) -> None:
    for left in place.glob(f"{UNFINISHED}{clinic}-*"):
        shutil.rmtree(left, ignore_errors=True)


def finish(folder: Path, name: str, manifest: Manifest, progress: Progress = lambda _bytes: None) -> Manifest:
    """Writes the manifest, reads the whole copy again, and gives it its name. Returns the manifest as it was written."""
    files = sorted(each for each in folder.rglob("*") if each.is_file())
    for file in files:
        sync_file(file)
    for inner in (each for each in folder.rglob("*") if each.is_dir()):
        sync_folder(inner)
    whole = replace(manifest, files={str(file.relative_to(folder)): entry_of(file) for file in files})
    (folder / MANIFEST).write_bytes(whole.to_bytes())
    sync_file(folder / MANIFEST)
    sync_folder(folder)
    verify(folder, progress)
    folder.rename(folder.parent / name)
    sync_folder(folder.parent)
    return whole


def verify(folder: Path, progress: Progress = lambda _bytes: None) -> Manifest:
    """Reads every file again. Raises CopyProblem unless all are there, byte for byte, and nothing else is."""
    manifest = read_manifest(folder)
    for name, entry in manifest.files.items():
        file = folder / name
        if not file.resolve().is_relative_to(folder.resolve()):
            raise CopyProblem(f"{folder / MANIFEST} was altered. Nothing was changed. Take another copy")
        if not file.is_file() or file.stat().st_size != entry.bytes:
            raise _damaged(file, "is cut short, too long or missing")
        if entry_of(file) != entry:
            raise _damaged(file, "is not as it was written: its SHA-256 differs")
        progress(entry.bytes)
    files = {str(each.relative_to(folder)) for each in folder.rglob("*") if not each.is_dir()}
    unnamed = sorted(files - {MANIFEST, *manifest.files})
    if unnamed:
        raise CopyProblem(
            f"{folder / unnamed[0]} is not in the manifest of this copy. Nothing was changed. Take it away"
        )
    return manifest


def _damaged(file: Path, how: str) -> CopyProblem:
    return CopyProblem(f"{file} {how}. Nothing was changed. This copy cannot be trusted: take another one")


def finished_copies(place: Path) -> Iterator[tuple[Path, Manifest]]:
    """Every finished copy in the place that can be read, of whatever clinic, the oldest first."""
    found = []
    for folder in sorted(place.iterdir()) if place.is_dir() else ():
        if folder.is_dir() and not folder.name.startswith("."):
            with suppress(CopyProblem):
                found.append((folder, read_manifest(folder)))
    yield from sorted(found, key=lambda each: each[1].made_at)


def take_away(folder: Path, clinic: str) -> None:
    """Renamed first, so that half of a copy is never taken for one."""
    left = folder.parent / f"{UNFINISHED}{clinic}-{folder.name}"
    folder.rename(left)
    shutil.rmtree(left, ignore_errors=True)
