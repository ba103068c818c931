"""Data folder, key folder and database are their owner's alone: looser modes are mended, or refused where they cannot be.

New files need no care here: the command line takes every right of others away before it makes one (`server/cli/__init__.py`).
"""

import logging
import os
from collections.abc import Iterator
from contextlib import suppress
from pathlib import Path

from sqlalchemy.engine import make_url

from server.config import ENVIRONMENT_FILE, Settings
from server.store.whole_file import halves

log = logging.getLogger(__name__)
OTHERS = 0o077
# By name, since a folder may hold other things than ours.
FOLDERS = ("locks", "mailbox")
FILES = ("demo.json", "demo-unfinished", "restore-unfinished", ENVIRONMENT_FILE)
BESIDE_A_DATABASE = ("", "-wal", "-shm", "-journal")


class NotPrivate(RuntimeError):
    """Others can read what belongs to the clinic, and that could not be changed."""


def make_private(settings: Settings) -> None:
    """Takes every right of others away from what is there, and says so in the log. Raises NotPrivate. Safe to repeat."""
    mended = [path for path in files_of(settings) if _mended(path)]
    if mended:
        more = f" and {len(mended) - 1} more" if len(mended) > 1 else ""
        log.warning("others could read %s%s; they no longer can (0700 for folders, 0600 for files)", mended[0], more)


def files_of(settings: Settings) -> Iterator[Path]:
    """Data folder, key folder and database of this clinic with what lies in them; of a data folder only what is ours."""
    yield settings.data
    for name in FILES:
        yield from (settings.data / name, *halves(settings.data / name))
    for folder in (settings.keys, *(settings.data / name for name in FOLDERS)):
        for place, _folders, files in os.walk(folder):
            yield Path(place)
            yield from (Path(place, name) for name in files)
    yield from database_files(settings)


def database_files(settings: Settings) -> Iterator[Path]:
    """Those of SQLite, be they there or not; none of another database."""
    url = make_url(settings.database_url)
    if url.get_backend_name() == "sqlite" and url.database:
        yield from (Path(f"{url.database}{ending}") for ending in BESIDE_A_DATABASE)


def _mended(path: Path) -> bool:
    # What goes away meanwhile needs no mending: a mail that is sent, a journal of another process.
    with suppress(FileNotFoundError):
        mode = path.stat().st_mode
        if not mode & OTHERS:
            return False
        try:
            path.chmod(mode & 0o700)
        except PermissionError as problem:
            raise NotPrivate(
                f"{path} can be read by others and belongs to another account, so its mode cannot be changed. "
                f"Run as the account that owns it, or take the rights of others away yourself: chmod -R go= {path}"
            ) from problem
        # Some file systems, such as mounted network drives and sticks, take a mode and go on with their own.
        if path.stat().st_mode & OTHERS:
            raise NotPrivate(
                f"{path} can be read by others: the file system it lies on does not keep modes. "
                "Put data folder and keys on one that does, or mount this one for the server's account alone (umask=077)."
            )
        return True
    return False
