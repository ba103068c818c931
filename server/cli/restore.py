"""`yearmark restore`: brings a clinic back out of a copy."""

from pathlib import Path

import click

from server.cli.opening import data_option, plainly, refuse_other_databases, settings_of
from server.cli.progress import progress_bar
from server.queries.clock import real_now


@click.command()
@click.argument("copy", type=click.Path(path_type=Path, file_okay=False))
@data_option
@click.option(
    "--keys", type=click.Path(path_type=Path, file_okay=False), help="A copy of the keys, to be brought back too."
)
def restore(copy: Path, data: Path | None, keys: Path | None) -> None:
    """Bring a clinic back out of COPY, the folder of one copy, into an empty or new data folder.

    Every file is checked before anything is written. One that was broken off is begun anew by the same command. Nothing is sent from a
    restored clinic until a data manager has released it on the page Backups, which says what may be missing.
    """
    from server.installation.restore import Wanted
    from server.installation.restore import restore as bring_back
    from server.trust.backup.manifest import read_manifest

    settings = settings_of(data)
    refuse_other_databases(settings.database_url)
    with plainly(), progress_bar(read_manifest(copy).length, "Checking") as bar:
        manifest = bring_back(settings, Wanted(copy, keys), now=real_now(), progress=bar.update)
    click.echo(
        f"{manifest.clinic_name} is restored in {settings.data} as it was on {manifest.made_at:%Y-%m-%d %H:%M} UTC. "
        "Nothing is sent yet: start the server, and a data manager releases it on the page Backups."
    )
