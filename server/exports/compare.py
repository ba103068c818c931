"""What changed between two sets of files: rows by their keys, whatever their order.

Only columns that both have are compared, and never `as_of`, which always differs. Statuses go on with the days, so a window that has
closed since then is a changed row.
"""

import csv
import io
import zipfile
from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from pathlib import Path

from server.exports.codebook import Entry
from server.exports.columns import LONG, OPERATIONS, SCHEDULE, WIDE
from server.exports.flow import FLOW, LOG
from server.exports.records import COMPONENTS, EVENTS, FINDINGS
from server.exports.thresholds import THRESHOLDS
from server.exports.zipped import FOLDER

_OPERATION = ("study_number", "side", "operation")
_GROUP = ("surgery_year", "side", "operation_kind", "procedure", "implant_type", "done_here")
# By what a row is known to be the same one. Of two rows with one key the first is compared with the first.
KEYS = {
    OPERATIONS: _OPERATION,
    WIDE: _OPERATION,
    SCHEDULE: (*_OPERATION, "timepoint", "attempt"),
    LONG: (*_OPERATION, "timepoint", "attempt", "finding", "row_kind", "instrument", "item", "scale"),
    EVENTS: ("study_number", "side", "event"),
    FINDINGS: ("study_number", "side", "finding"),
    COMPONENTS: ("study_number", "side", "component"),
    LOG: (*_GROUP, "surgeon", "place", "enrolment", "reason"),
    FLOW: (*_GROUP, "timepoint", "step", "reason"),
    THRESHOLDS: ("instrument", "scale", "kind", "threshold", "population", "citation"),
    "codebook.csv": Entry._fields[:2],
}
ALWAYS_DIFFERENT = "as_of"


@dataclass(frozen=True)
class TableChange:
    """Counts of rows; `columns`: in how many of the changed rows each column differs. A file that only one set has is all added or gone."""

    file: str
    then: int
    now: int
    added: int
    changed: int
    taken_back: int
    columns: tuple[tuple[str, int], ...]

    @property
    def same(self) -> bool:
        return not (self.added or self.changed or self.taken_back)


def compare(locked: bytes, folder: Path) -> list[TableChange]:
    """The locked zip file against the files in `folder`, table by table, in the order of KEYS."""
    with zipfile.ZipFile(io.BytesIO(locked)) as archive:
        names = set(archive.namelist())
        found = []
        for file, key in KEYS.items():
            member = f"{FOLDER}/{file}"
            then = _rows(io.TextIOWrapper(archive.open(member), "utf-8", newline="")) if member in names else []
            with (folder / file).open(encoding="utf-8", newline="") as lines:
                now = _rows(lines)
            # A column that came later is in no key of a set that was locked before.
            both = [name for name in key if all(name in rows[0] for rows in (then, now) if rows)]
            found.append(_changes(file, _keyed(then, both), _keyed(now, both)))
        return found


Row = dict[str, str]
Key = tuple[str, ...]


def _rows(lines: Iterable[str]) -> list[Row]:
    return list(csv.DictReader(lines, strict=True))


def _keyed(rows: Iterable[Row], key: Sequence[str]) -> dict[Key, Row]:
    seen, found = Counter[Key](), {}
    for row in rows:
        known = tuple(row[name] for name in key)
        found[*known, str(seen[known])] = row
        seen[known] += 1
    return found


def _changes(file: str, then: dict[Key, Row], now: dict[Key, Row]) -> TableChange:
    columns, changed = Counter[str](), 0
    for key in then.keys() & now.keys():
        old, new = then[key], now[key]
        differ = [name for name in old if name in new and name != ALWAYS_DIFFERENT and old[name] != new[name]]
        changed += bool(differ)
        columns.update(differ)
    often = tuple(sorted(columns.items(), key=lambda each: (-each[1], each[0])))
    return TableChange(
        file, len(then), len(now), len(now.keys() - then.keys()), changed, len(then.keys() - now.keys()), often
    )
