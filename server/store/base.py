"""The declarative base, column types, and naming of constraints.

SQLite tables are STRICT, so every type compiles to TEXT, INTEGER, REAL or BLOB there.
"""

import json
from collections.abc import Iterable, Mapping
from contextvars import ContextVar
from datetime import UTC, date, datetime
from typing import Any

from sqlalchemy import BigInteger, CheckConstraint, DateTime, Dialect, Index, Integer, LargeBinary, MetaData, text
from sqlalchemy.ext.compiler import compiles
from sqlalchemy.orm import DeclarativeBase
from sqlalchemy.types import Boolean, Date, Double, Float, String, Text, TypeDecorator

from server.crypto.fields import FieldRing

NAMES = {
    "ix": "ix_%(table_name)s_%(column_0_N_name)s",
    "uq": "uq_%(table_name)s_%(column_0_N_name)s",
    "ck": "ck_%(table_name)s_%(constraint_name)s",
    "fk": "fk_%(table_name)s_%(column_0_N_name)s",
    "pk": "pk_%(table_name)s",
}

# The ring of the store whose session is open here: set by Store.reading and Store.writing, never by anyone else.
field_ring: ContextVar[FieldRing] = ContextVar("field_ring")


class Base(DeclarativeBase):
    metadata = MetaData(naming_convention=NAMES)

    __table_args__: Any = ({"sqlite_strict": True},)


def table_args(*arguments: Any) -> tuple[Any, ...]:
    return (*arguments, {"sqlite_strict": True})


def one_of(column: str, words: Iterable[str], *, name: str | None = None) -> CheckConstraint:
    """A CHECK that a text column holds one of `words` (or NULL): Enum types do not work in STRICT tables."""
    listed = ", ".join(f"'{word}'" for word in words)
    return CheckConstraint(f"{column} IN ({listed})", name=name or column)


def partial_index(name: str, *columns: str, where: str, sqlite_where: str | None = None, unique: bool = False) -> Index:
    """An index over the rows where `where` holds. It must hold every column of its predicate and query (measured: 13x otherwise)."""
    return Index(name, *columns, unique=unique, sqlite_where=text(sqlite_where or where), postgresql_where=text(where))


@compiles(String, "sqlite")
@compiles(Text, "sqlite")
@compiles(Date, "sqlite")
@compiles(DateTime, "sqlite")
def _text(_type: Any, _compiler: Any, **_options: Any) -> str:
    return "TEXT"


@compiles(Boolean, "sqlite")
@compiles(BigInteger, "sqlite")
def _integer(_type: Any, _compiler: Any, **_options: Any) -> str:
    return "INTEGER"


@compiles(Float, "sqlite")
@compiles(Double, "sqlite")
def _real(_type: Any, _compiler: Any, **_options: Any) -> str:
    return "REAL"


Big = BigInteger().with_variant(Integer(), "sqlite")


class Instant(TypeDecorator[datetime]):
    """An aware instant, stored in UTC. `DateTime(timezone=True)` drops the offset on SQLite; naive values are refused."""

    impl = DateTime(timezone=True)
    cache_ok = True

    def process_bind_param(self, value: datetime | None, dialect: Dialect) -> datetime | None:
        if value is None:
            return None
        if value.tzinfo is None:
            raise ValueError("an instant needs a time zone")
        plain = value.astimezone(UTC)
        return plain.replace(tzinfo=None) if dialect.name == "sqlite" else plain

    def process_result_value(self, value: datetime | None, dialect: Dialect) -> datetime | None:
        if value is None:
            return None
        return value.replace(tzinfo=UTC) if value.tzinfo is None else value.astimezone(UTC)


class Sealed(TypeDecorator[str]):
    """Text sealed under the field ring of the open store; `context` is table.column."""

    impl = LargeBinary
    cache_ok = True

    def __init__(self, context: str) -> None:
        super().__init__()
        self.context = context

    def process_bind_param(self, value: str | None, dialect: Dialect) -> bytes | None:
        return None if value is None else field_ring.get().seal(value.encode("utf-8"), self.context)

    def process_result_value(self, value: bytes | None, dialect: Dialect) -> str | None:
        return None if value is None else field_ring.get().open(value, self.context).decode("utf-8")


class SealedDay(TypeDecorator[date]):
    """A date sealed under the field ring: birth dates."""

    impl = LargeBinary
    cache_ok = True

    def __init__(self, context: str) -> None:
        super().__init__()
        self.context = context

    def process_bind_param(self, value: date | None, dialect: Dialect) -> bytes | None:
        return None if value is None else field_ring.get().seal(value.isoformat().encode("ascii"), self.context)

    def process_result_value(self, value: bytes | None, dialect: Dialect) -> date | None:
        if value is None:
            return None
        return date.fromisoformat(field_ring.get().open(value, self.context).decode("ascii"))


class TextByLanguage(TypeDecorator[Mapping[str, str]]):
    """A short text in several languages, kept as JSON: language tag to text."""

    impl = Text
    cache_ok = True

    def process_bind_param(self, value: Mapping[str, str] | None, dialect: Dialect) -> str | None:
        return None if value is None else json.dumps(dict(value), ensure_ascii=False)

    def process_result_value(self, value: str | None, dialect: Dialect) -> Mapping[str, str] | None:
        return None if value is None else dict(json.loads(value))
