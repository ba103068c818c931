"""README.md says of every table what stands in clear, and of every sealed column that it is sealed. The tables are the models' own."""

import re
from pathlib import Path

import server.models
from server.store.base import Base, Sealed, SealedDay
from tests.structure.tree import text_of

assert server.models  # imported for its effect: every table is in Base.metadata

HEADING = "### What stands in clear, and how to guard it"
# Bytes that are sealed before a column gets them: under a patient's key, the clinic's, or the link and birth date.
SEALED_BEFORE = {("response", "answers"), ("envelope", "body"), ("gate", "ciphertext"), ("data_lock", "content")}


def rows() -> list[tuple[set[str], str, set[str]]]:
    """Tables, what stands in clear, and sealed columns, of each row."""
    section = text_of(Path("README.md")).split(HEADING)[1].split("\n### ")[0]
    cells = [
        [cell.strip() for cell in line.split("|")[1:-1]] for line in section.splitlines() if line.startswith("| `")
    ]
    return [
        (set(re.findall(r"`(\w+)`", tables)), clear, set(re.findall(r"`(\w+)`", sealed)))
        for tables, clear, sealed in cells
    ]


def test_every_table_is_named_once_with_what_stands_in_clear() -> None:
    named = [table for tables, clear, _sealed in rows() for table in tables if clear]
    assert sorted(named) == sorted(Base.metadata.tables)


def test_every_sealed_column_is_named_and_no_other_is_called_sealed() -> None:
    found = {
        (table.name, column.name)
        for table in Base.metadata.sorted_tables
        for column in table.columns
        if isinstance(column.type, Sealed | SealedDay)
    }
    assert len(found) > 10
    for tables, _clear, sealed in rows():
        expected = {column for table, column in found | SEALED_BEFORE if table in tables}
        assert sealed == expected, tables
