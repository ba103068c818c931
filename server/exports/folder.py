"""The folder of an export: written beside its place, renamed into it, so that it is whole or not there."""

import errno
import json
import os
import secrets
import shutil
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

SCHEMA = "yearmark-export-1"
MANIFEST = "manifest.json"


class ExportProblem(RuntimeError):
    """The export was not written; the message says why and what to do. What was there before is there still."""


class KeysMissing(ExportProblem):
    """A patient's key is not in the key folder, and nobody erased that patient."""


@contextmanager
def new_folder(out: Path) -> Iterator[Path]:
    """A temporary folder that becomes `out` at the end of the block, and disappears when the block fails.

    An empty folder or an earlier export is replaced; anything else is left alone. Raises ExportProblem.
    """
    _refuse_foreign(out)
    temporary = out.parent / f".{out.name}.{secrets.token_hex(4)}"
    try:
        out.parent.mkdir(parents=True, exist_ok=True)
        temporary.mkdir()
        yield temporary
        _put_in_place(temporary, out)
    except OSError as problem:
        raise ExportProblem(_plain(problem, out)) from problem
    finally:
        shutil.rmtree(temporary, ignore_errors=True)


def _refuse_foreign(out: Path) -> None:
    if out.is_symlink() or (out.exists() and not out.is_dir()):
        raise ExportProblem(f"{out} is not a folder; name a folder that does not exist yet")
    if out.exists() and any(out.iterdir()) and not _is_earlier_export(out):
        raise ExportProblem(
            f"{out} holds something that is not an earlier export; nothing was changed. Name another folder"
        )


def _is_earlier_export(out: Path) -> bool:
    """Its manifest is one of ours, and nothing lies there that the manifest does not name."""
    try:
        manifest = json.loads((out / MANIFEST).read_text(encoding="utf-8"))
        named = {MANIFEST, *manifest["files"]}
        return bool(manifest["schema"] == SCHEMA) and {each.name for each in out.iterdir()} <= named
    except (OSError, ValueError, KeyError, TypeError):
        return False


def _put_in_place(temporary: Path, out: Path) -> None:
    for file in temporary.iterdir():
        with file.open("rb") as written:
            os.fsync(written.fileno())
    if not out.exists():
        temporary.rename(out)
        return
    old = out.parent / f".{out.name}.{secrets.token_hex(4)}"
    out.rename(old)
    try:
        temporary.rename(out)
    except OSError:
        old.rename(out)
        raise
    shutil.rmtree(old, ignore_errors=True)


def _plain(problem: OSError, out: Path) -> str:
    if problem.errno in (errno.ENOSPC, errno.EDQUOT):
        return f"the disk is full; {out} was not written. Free some space, or name a folder on another disk"
    if problem.errno in (errno.EACCES, errno.EPERM, errno.EROFS):
        return f"{out} may not be written by this account; name another folder"
    return f"{out} was not written: {problem.strerror or problem}"
