"""Looks for words in every file of a folder, as the two encodings in which browsers write text."""

from collections.abc import Iterable
from pathlib import Path

ENCODINGS = ("utf-8", "utf-16-le")


def traces(folder: Path, words: Iterable[str]) -> list[str]:
    """`word in file`, for each found. Sockets and locks of a running browser are no files."""
    needles = [(word, word.encode(encoding)) for word in words for encoding in ENCODINGS]
    found = []
    for path in sorted(folder.rglob("*")):
        if path.is_symlink() or not path.is_file():
            continue
        data = content(path)
        found += [f"{word!r} in {path.relative_to(folder)}" for word, needle in needles if needle in data]
    return sorted(set(found))


def content(path: Path) -> bytes:
    """Nothing for a file that the browser has taken away meanwhile."""
    try:
        return path.read_bytes()
    except FileNotFoundError:
        return b""
