"""What every command needs: the data folder opened, and refusals said in a sentence."""

import os
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import click
from sqlalchemy.engine import make_url
from sqlalchemy.exc import OperationalError, SQLAlchemyError

from server.config import ENVIRONMENT_FILE, SettingProblem, Settings, data_folder, read_settings
from server.crypto.fields import FieldProblem
from server.installation.clinic_entry import EntryProblem
from server.installation.folders import KEY_FOLDER, folder_problem
from server.installation.owner import OthersFolder, account_name, name_to_type, others_file, refuse_others_folder
from server.installation.private_files import NotPrivate
from server.installation.runtime import Runtime, open_runtime
from server.installation.set_up import NO_CLINIC, NotReady, check_clinic, unusable
from server.store.folder_lock import FolderBusy
from server.trust.backup.manifest import CopyProblem

# Of a folder that cannot be read our own sentences say more than click would.
folder_path = click.Path(path_type=Path, file_okay=False, readable=False)
data_option = click.option("--data", type=folder_path, help="The data folder.")

_KEYS_ARE_OTHERS = (
    "Nothing is lost. The key folder does not belong to this database: bring it back from its copy, "
    "or let YEARMARK_KEYS name it"
)


class Refusal(click.ClickException):
    """A plain message and exit code 2: what happened, what to do."""

    exit_code = 2

    def show(self, file: Any = None) -> None:
        click.echo(f"yearmark: {self.message}", file=file or sys.stderr)


@contextmanager
def plainly() -> Iterator[None]:
    """What a person can mend is said in a sentence."""
    try:
        yield
    except (NotReady, NotPrivate, OthersFolder, FolderBusy, SettingProblem, EntryProblem, CopyProblem) as problem:
        raise Refusal(str(problem)) from problem
    except FieldProblem as problem:
        raise Refusal(f"{problem}. {_KEYS_ARE_OTHERS}") from problem
    except OperationalError as problem:
        raise Refusal(unusable(problem)) from problem
    except PermissionError as problem:
        if problem.filename is None:
            raise  # of no file: whoever asked for it knows better what it is
        raise Refusal(_not_ours(problem)) from problem


def _not_ours(problem: PermissionError) -> str:
    me = os.geteuid()
    return (
        f"{problem.filename} cannot be used by {account_name(me)}: {problem.strerror}. What belongs to a clinic has to belong to the "
        f"account that runs it. As root: chown -R {name_to_type(me)} on the data folder and the key folder; then the same command "
        "once more"
    )


def settings_of(data: Path | None) -> Settings:
    """Refuses a folder of another account before anything in it is read, also to root, whose files that account could not use."""
    with plainly():
        folder = data_folder(os.environ, data)
        refuse_others_folder(folder, sys.argv[1:])
        said = others_file([folder / ENVIRONMENT_FILE], folder)
        if said:
            raise Refusal(said)
        return read_settings(data=data)


def opened(data: Path | None) -> Runtime:
    """For a set-up: makes the folder if it is not there."""
    settings = settings_of(data)
    refuse_other_databases(settings.database_url)
    try:
        runtime = open_runtime(settings)
    except NotPrivate as problem:
        raise Refusal(closed_folder(settings) or str(problem)) from problem
    except OSError as problem:
        where = Path(problem.filename or settings.data)
        said = f"the data folder {settings.data} cannot be used: {problem.strerror} ({where})"
        raise Refusal(
            others_file([where], settings.data, settings.keys) or closed_folder(settings) or said
        ) from problem
    click.get_current_context().call_on_close(runtime.store.engine.dispose)
    return runtime


def closed_folder(settings: Settings) -> str | None:
    """Which of a clinic's two folders this account can neither write nor make; None where it can."""
    safe = "Nothing was changed"
    data = folder_problem(settings.data, safe, what="the data folder")
    return data or folder_problem(settings.keys, safe, what=KEY_FOLDER)


def refuse_other_databases(url: str) -> None:
    """The address may hold a password, so it is not repeated."""
    wrong = "YEARMARK_DATABASE_URL is no address of a database; leave it empty for SQLite, or write postgresql://…"
    try:
        backend, dialect = make_url(url).get_backend_name(), make_url(url).get_dialect()
    except (SQLAlchemyError, ImportError, ValueError) as problem:
        raise Refusal(wrong) from problem
    if backend not in ("sqlite", "postgresql"):
        raise Refusal(wrong)
    try:
        dialect.import_dbapi()
    except ImportError as problem:
        raise Refusal(
            "YEARMARK_DATABASE_URL names PostgreSQL, and the driver for it is not installed. In Yearmark's folder: "
            ".venv/bin/python -m pip install --no-build-isolation --editable '.[postgresql]'"
        ) from problem


def known_folder(data: Path | None) -> None:
    """Refuses a folder in which nothing was ever set up, and leaves nothing behind there."""
    settings = settings_of(data)
    if not any((settings.data / name).exists() for name in ("locks", "keys", "yearmark.sqlite3")):
        raise Refusal(f"{NO_CLINIC} (looked in {settings.data})")


def opened_clinic(data: Path | None) -> Runtime:
    """For all that works on a clinic: refuses where none was set up, and leaves nothing behind there."""
    known_folder(data)
    runtime = opened(data)
    with plainly():
        check_clinic(runtime)
    return runtime
