"""A file that is there whole or not at all, also after a power cut."""

import glob
import os
import secrets
from pathlib import Path


def write_whole(path: Path, data: bytes, *, mode: int = 0o600) -> None:
    """A reader sees the old file or all of the new one, also through a link to it. Owner and mode are those of a new file.

    Raises OSError. Then no half of the new one stays and the old one is as it was, except where only its folder could not be synced: there
    the new one stands already, and after a power cut it may be either.
    """
    path = path.resolve()
    _make_folder(path.parent)
    temporary = path.with_name(f".{path.name}.{secrets.token_hex(4)}")
    descriptor = os.open(temporary, os.O_WRONLY | os.O_CREAT | os.O_EXCL, mode)
    try:
        with os.fdopen(descriptor, "wb") as file:
            file.write(data)
            file.flush()
            os.fsync(file.fileno())
        temporary.replace(path)
    except BaseException:
        temporary.unlink(missing_ok=True)
        raise
    sync_folder(path.parent)


def halves(path: Path) -> list[Path]:
    """What stays beside this file of writers that were killed in the middle; it may hold as much as the file."""
    return list(path.parent.glob(f".{glob.escape(path.name)}.{'[0-9a-f]' * 8}"))


def _make_folder(folder: Path) -> None:
    """And the names of all that are new, which are else gone with what is written into them."""
    new = [each for each in (folder, *folder.parents) if not each.exists()]
    folder.mkdir(parents=True, exist_ok=True, mode=0o700)
    for each in reversed(new):
        sync_folder(each.parent)


def sync_folder(folder: Path) -> None:
    """Makes names in it durable."""
    descriptor = os.open(folder, os.O_RDONLY)
    try:
        os.fsync(descriptor)
    finally:
        os.close(descriptor)
