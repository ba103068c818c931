"""`yearmark drill`: proves that a copy can be restored, by doing it."""

import sys
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import click

from server.cli.opening import data_option, folder_path, opened_clinic, plainly
from server.cli.progress import progress_bar


@click.command()
@data_option
@click.option("--from", "copy", type=folder_path, help="One copy; else the newest.")
@click.option("--keys", type=folder_path, help="One copy of the keys; else the newest.")
def drill(data: Path | None, copy: Path | None, keys: Path | None) -> None:
    """Restore the newest copy into a scratch folder and compare it with what was copied. Safe beside a running server.

    Exit code 1 when something differs. The page Backups shows how long ago the last proof was.
    """
    from server.installation.drill import drill as prove
    from server.queries.copies import DIFFERENT, NOT_COMPARED

    runtime = opened_clinic(data)
    with plainly(), _other_rows_are_a_difference(), progress_bar(0, "Checking") as bar:
        proof = prove(runtime, copy, keys, lambda done: bar.update(done))
    rows, tables = sum(proof.manifest.counts.values()), len(proof.manifest.counts)
    files = {
        NOT_COMPARED: "the files of the data set were not compared, since another version wrote them or they could not be made: "
        "run `yearmark backup`, then `yearmark drill` again",
        DIFFERENT: "BUT THE FILES OF THE DATA SET DIFFER",
    }.get(proof.files, "the same files of the data set, byte for byte")
    click.echo(
        f"The copy of {proof.manifest.made_at:%Y-%m-%d %H:%M} UTC was restored: the same {rows} rows in {tables} tables, {files}."
    )
    sys.exit(1 if proof.files == DIFFERENT else 0)


@contextmanager
def _other_rows_are_a_difference() -> Iterator[None]:
    """Which was found, and is no refusal."""
    from server.installation.restore import RowsDiffer

    try:
        yield
    except RowsDiffer as problem:
        click.echo(f"yearmark: {problem}", err=True)
        sys.exit(1)
