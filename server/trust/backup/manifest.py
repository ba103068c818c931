"""`manifest.json` of a copy: what it holds, of which clinic, with the SHA-256 of each file. It names no person."""

import hashlib
import json
from collections.abc import Mapping
from dataclasses import asdict, dataclass, field
from datetime import datetime
from pathlib import Path
from typing import Any

SCHEMA = "yearmark-copy-1"
MANIFEST = "manifest.json"
DATA, KEYS = "data", "keys"


class CopyProblem(RuntimeError):
    """A copy that was not made or cannot be used: what happened, what is safe, what to do."""


@dataclass(frozen=True)
class FileEntry:
    sha256: str
    bytes: int


@dataclass(frozen=True)
class Manifest:
    """`clinic` is an id that its database keeps for good. `key_ids`: the keys without which the data cannot be used.

    `counts` are rows by table. `export`: the instant as of which the whole data set was exported, and the SHA-256 of its manifest;
    empty where that could not be done. `revision` is that of the schema.
    """

    kind: str
    backup_id: str
    made_at: datetime
    clinic: str
    clinic_name: str
    program: str
    database: str = ""
    revision: str = ""
    key_ids: tuple[str, ...] = ()
    counts: Mapping[str, int] = field(default_factory=dict)
    export: Mapping[str, str] = field(default_factory=dict)
    files: Mapping[str, FileEntry] = field(default_factory=dict)

    def to_bytes(self) -> bytes:
        content = {"schema": SCHEMA, **asdict(self), "made_at": self.made_at.isoformat()}
        return json.dumps(content, indent=1, sort_keys=True, ensure_ascii=False).encode("utf-8") + b"\n"

    @property
    def length(self) -> int:
        return sum(each.bytes for each in self.files.values())


def entry_of(file: Path) -> FileEntry:
    with file.open("rb") as opened:
        return FileEntry(hashlib.file_digest(opened, "sha256").hexdigest(), file.stat().st_size)


def read_manifest(folder: Path) -> Manifest:
    """Raises CopyProblem when there is none, or one that this program does not read."""
    try:
        content: dict[str, Any] = json.loads((folder / MANIFEST).read_bytes())
    except FileNotFoundError as problem:
        raise CopyProblem(
            f"{folder} is no finished copy: it has no {MANIFEST}. Nothing was changed. Name the folder of one copy, "
            "such as PLACE/2027-03-01T020000Z-1a2b3c4d"
        ) from problem
    except PermissionError as problem:
        raise CopyProblem(
            f"{folder} may not be read by this account. Nothing was changed. As root give the copy, and the way to it, to the account that "
            "runs the server; then the same command once more"
        ) from problem
    except (OSError, ValueError) as problem:
        raise CopyProblem(f"{folder / MANIFEST} cannot be read. Nothing was changed. Take another copy") from problem
    try:
        schema, files = content.pop("schema"), content.pop("files")
        if schema != SCHEMA:
            raise CopyProblem(f"{folder} was made by another version of Yearmark, which is needed to restore it")
        return Manifest(
            **{**content, "made_at": datetime.fromisoformat(content["made_at"]), "key_ids": tuple(content["key_ids"])},
            files={name: FileEntry(**entry) for name, entry in files.items()},
        )
    except (KeyError, TypeError, ValueError, AttributeError) as problem:
        raise CopyProblem(f"{folder / MANIFEST} was altered. Nothing was changed. Take another copy") from problem
