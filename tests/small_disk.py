"""A disk of a few megabytes, to be filled: in memory, mounted where that is allowed, which is as root."""

import subprocess
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest


@contextmanager
def small_disk(folder: Path, kilobytes: int) -> Iterator[Path]:
    """`folder` on a disk of its own. Skips where none may be mounted."""
    folder.mkdir()
    how = ("-t", "tmpfs", "-o", f"size={kilobytes}k,mode=0700", "yearmark-test")
    done = subprocess.run(["mount", *how, str(folder)], check=False, capture_output=True, text=True)
    if done.returncode:
        pytest.skip(f"a small disk: {done.stderr.strip()}")
    try:
        yield folder
    finally:
        subprocess.run(["umount", "--lazy", str(folder)], check=True)
