"""`yearmark restore`: brings a clinic back out of a copy."""

from pathlib import Path

import click

from server.cli.opening import data_option, folder_path, plainly, refuse_other_databases, settings_of
from server.cli.progress import progress_bar
from server.config import ENVIRONMENT_FILE, SettingProblem, read_settings
from server.installation.called import called
from server.queries.clock import real_now


@click.command()
@click.argument("copy", type=folder_path)
@data_option
@click.option(
    "--keys",
    type=folder_path,
    help="A copy of the keys, to be brought back too, with the yearmark.env in it.",
)
def restore(copy: Path, data: Path | None, keys: Path | None) -> None:
    """Bring a clinic back out of COPY, the folder of one copy, into an empty or new data folder.

    Every file is checked before anything is written. One that was broken off is begun anew by the same command. Nothing is sent from a
    restored clinic until a data manager has released it on the page Backups, which says what may be missing.
    """
    from server.installation.restore import Wanted
    from server.installation.restore import restore as bring_back
    from server.installation.restore_settings import restore_place
    from server.trust.backup.manifest import read_manifest

    settings_of(data)  # whose the folder is comes first
    with plainly():
        place = restore_place(data, keys)
    settings = place.settings
    refuse_other_databases(settings.database_url)
    wanted = Wanted(copy, keys, place.environment)
    with plainly(), progress_bar(read_manifest(copy).length, "Checking") as bar:
        manifest = bring_back(settings, wanted, now=real_now(), progress=bar.update)
    said = _said_of_settings(settings.data, is_kept=place.is_kept, is_new=place.environment is not None)
    click.echo(
        f"{manifest.clinic_name} is restored in {settings.data} as it was on {manifest.made_at:%Y-%m-%d %H:%M} UTC.\n"
        f"The keys {'were put into' if keys else 'are in'} {settings.keys}.\n{said}\n"
        "Nothing is sent yet: start the server, and a data manager releases it on the page Backups."
    )


def _said_of_settings(data: Path, *, is_kept: bool, is_new: bool) -> str:
    """Whether `yearmark.env` is there, and what is still to be done for it."""
    file = data / ENVIRONMENT_FILE
    if is_kept:
        said = f"{file} was put back from the copy of the keys."
    elif is_new:
        said = f"{file} came with no copy of the keys: a new one says where the keys lie."
    else:
        said = f"{file} was there and was left as it is."
    try:
        settings = read_settings(data=data)
    except SettingProblem as problem:
        return f"{said} Mend it before you start the server: {problem}."
    if not settings.smtp_is_set:
        said += f" No mail server stands in it: `{called()} set-up --data {data}` asks for one."
    return said
