"""manifest.json: what was written, with the SHA-256 of each file. Same data and same day: same bytes."""

import hashlib
import json
from dataclasses import dataclass
from datetime import date
from pathlib import Path

from server.exports.folder import MANIFEST, SCHEMA


@dataclass(frozen=True)
class FileEntry:
    """One file; `rows` without the header."""

    name: str
    sha256: str
    bytes: int
    rows: int


@dataclass(frozen=True)
class Manifest:
    """`as_of`: the clinic's day on which statuses were computed. `counts`: patients, operations, forms by status, and more."""

    as_of: date
    files: tuple[FileEntry, ...]
    counts: dict[str, int]
    schema: str = SCHEMA

    def write(self, folder: Path) -> None:
        content = {
            "schema": self.schema,
            "as_of": self.as_of.isoformat(),
            "note": "Statuses are those of the as-of day. The study number is a pseudonym; the clinic holds the key to it. "
            "left_out_no_research_consent counts patients who are in no file, since their consent to research does not stand.",
            "files": {
                each.name: {"sha256": each.sha256, "bytes": each.bytes, "rows": each.rows} for each in self.files
            },
            "counts": self.counts,
        }
        text = json.dumps(content, indent=2, sort_keys=True, ensure_ascii=False) + "\n"
        (folder / MANIFEST).write_text(text, encoding="utf-8")


def entry_of(file: Path, rows: int) -> FileEntry:
    with file.open("rb") as written:
        digest = hashlib.file_digest(written, "sha256").hexdigest()
    return FileEntry(file.name, digest, file.stat().st_size, rows)
