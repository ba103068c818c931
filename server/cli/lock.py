"""`yearmark lock`: an export kept under a name, to which a paper refers; taken out again, and compared with the present data."""

from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import click

from server.cli.opening import Refusal, data_option, opened_clinic
from server.exports import ExportProblem
from server.exports.compare import TableChange
from server.installation.data_lock import (
    LockAltered,
    LockRefused,
    changes_since,
    content_of,
    find_lock,
    locks,
    make_lock,
    note_download,
)
from server.installation.runtime import Runtime
from server.models import DataLock
from server.store.whole_file import write_whole


@click.group()
def lock() -> None:
    """Data locks: exports that are kept under a name and never change."""


@contextmanager
def _refusing() -> Iterator[None]:
    try:
        yield
    except (LockRefused, LockAltered, ExportProblem) as problem:
        raise Refusal(f"{problem}") from problem


@lock.command()
@click.argument("name")
@data_option
@click.option("--why", required=True, help="What it is for, such as the paper.")
def make(name: str, data: Path | None, why: str) -> None:
    """Lock the data as they are now under NAME."""
    with _refusing():
        made = make_lock(opened_clinic(data), name, why, by_id=None)
    click.echo(f"{made.name} is locked as of {made.as_of}, SHA-256 {made.sha256.hex()}.")


@lock.command("list")
@data_option
def list_command(data: Path | None) -> None:
    """List the locks, the newest first."""
    with opened_clinic(data).store.reading() as session:
        for each in locks(session):
            click.echo(
                f"{each.name}: as of {each.as_of}, {each.length} bytes, SHA-256 {each.sha256.hex()}\n  {each.why}"
            )


@lock.command()
@click.argument("name")
@data_option
@click.option(
    "--out", required=True, type=click.Path(path_type=Path, dir_okay=False), help="A file that does not exist yet."
)
def get(name: str, data: Path | None, out: Path) -> None:
    """Write the zip file of a lock, byte for byte as it was locked."""
    runtime = opened_clinic(data)
    if out.exists():
        raise Refusal(f"{out} exists; nothing was written. Name another file")
    with _refusing():
        found = _named(runtime, name)
        content = content_of(runtime, found.id)
        with runtime.store.writing() as session:
            note_download(session, found, runtime, by_id=None)
    write_whole(out, content)
    click.echo(f"{len(content)} bytes in {out}")


@lock.command()
@click.argument("name")
@data_option
def changes(name: str, data: Path | None) -> None:
    """What changed in the data since NAME was locked, table by table."""
    runtime = opened_clinic(data)
    with _refusing():
        as_of, found = changes_since(runtime, _named(runtime, name).id, by_id=None)
    click.echo(f"{name} against the data as of {as_of}:")
    for each in found:
        click.echo(f"{each.file}: {_said(each)}")


def _named(runtime: Runtime, name: str) -> DataLock:
    with runtime.store.reading() as session:
        found = find_lock(session, name)
    if found is None:
        raise LockRefused(f"there is no data lock {name!a}; yearmark lock list shows all")
    return found


def _said(table: TableChange) -> str:
    if table.same:
        return f"{table.now} rows, none changed"
    most = ", ".join(f"{column} {count}" for column, count in table.columns[:5])
    where = f" ({most})" if most else ""
    return f"{table.added} added, {table.changed} changed{where}, {table.taken_back} taken back"
