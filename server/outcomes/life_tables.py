"""Installs the life table that deaths are compared with: checked, one in force, audited. One that is replaced or removed stays to be read.

A table is never changed: another file takes its place from then on. The same file again with the same source changes nothing.
"""

import hashlib
from dataclasses import dataclass
from datetime import datetime

from sqlalchemy import select
from sqlalchemy.orm import Session

from server.models import InstalledLifeTable
from server.outcomes.arithmetic.life_table import LifeTable, read_life_table
from server.outcomes.arithmetic.table import TableProblem
from server.queries.clock import clinic_to_change
from server.trust.audit import audit

LONGEST_BYTES = 5_000_000
LONGEST_SOURCE = 300


class LifeTableRefused(ValueError):
    """The message says what is wrong and what to do; nothing was changed."""


@dataclass(frozen=True)
class Installation:
    """`already`: this very table with this source was in force. `replaced`: the source of the one whose place it took."""

    table: LifeTable
    already: bool
    replaced: str | None


def install_life_table(session: Session, data: bytes, source: str, *, now: datetime, by_id: int | None) -> Installation:
    """Raises LifeTableRefused unless the whole file is a life table."""
    content, table = _checked(data)
    source = " ".join(source.split())
    if not 0 < len(source) <= LONGEST_SOURCE:
        raise LifeTableRefused(
            f"the source must be a text of 1 to {LONGEST_SOURCE} signs that says where the table is from"
        )
    clinic_to_change(session)  # two installations at one time queue here
    sha256, before = hashlib.sha256(data).digest(), life_table_in_force(session)
    if before is not None and (before.sha256, before.source) == (sha256, source):
        return Installation(table, already=True, replaced=None)
    if before is not None:
        before.ended_at = now
        session.flush()
    row = InstalledLifeTable(source=source, content=content, sha256=sha256, installed_at=now, installed_by_id=by_id)
    session.add(row)
    session.flush()
    replaces = None if before is None else before.id
    audit(
        session,
        "life_table:installed",
        f"life table {row.id}",
        now=now,
        by_id=by_id,
        sha256=sha256.hex(),
        replaces=replaces,
    )
    return Installation(table, already=False, replaced=None if before is None else before.source)


def remove_life_table(session: Session, *, now: datetime, by_id: int | None) -> str | None:
    """From now on there is none. Returns the source of the one that ended; None where there was none."""
    clinic_to_change(session)
    row = life_table_in_force(session)
    if row is None:
        return None
    row.ended_at = now
    audit(session, "life_table:removed", f"life table {row.id}", now=now, by_id=by_id)
    session.flush()
    return row.source


def life_table_in_force(session: Session) -> InstalledLifeTable | None:
    return session.scalars(select(InstalledLifeTable).where(InstalledLifeTable.ended_at.is_(None))).one_or_none()


def every_life_table(session: Session) -> list[InstalledLifeTable]:
    """The one in force and those that ended, as they were installed."""
    return list(session.scalars(select(InstalledLifeTable).order_by(InstalledLifeTable.id)))


def read_installed(row: InstalledLifeTable) -> LifeTable:
    """Raises LifeTableRefused where its bytes in the database are no longer those that were installed."""
    if hashlib.sha256(row.content.encode()).digest() != row.sha256:
        raise LifeTableRefused(
            "the life table in the database was altered since it was installed; install it again from its file"
        )
    return read_life_table(row.content)


def _checked(data: bytes) -> tuple[str, LifeTable]:
    if len(data) > LONGEST_BYTES:
        raise LifeTableRefused(
            f"the file has more than {LONGEST_BYTES // 1_000_000} million bytes; a life table is smaller"
        )
    try:
        content = data.decode("utf-8")
        return content, read_life_table(content)
    except UnicodeDecodeError as problem:
        raise LifeTableRefused(
            f"the file is not UTF-8 text (byte {problem.start + 1}); save it as CSV in UTF-8"
        ) from problem
    except TableProblem as problem:
        raise LifeTableRefused(str(problem)) from problem
