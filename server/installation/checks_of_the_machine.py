"""Whether the machine keeps the clinic's data as it should: modes, clock, room on the disk, keys apart."""

import os
import shutil
from collections.abc import Iterable
from datetime import datetime, timedelta
from pathlib import Path

from sqlalchemy import func, select, text
from sqlalchemy.engine import make_url

from server.installation.finding import Finding, Look
from server.installation.private_files import OTHERS, files_of
from server.models import AuditEntry, Envelope
from server.words.phrase import phrase

MEGABYTE = 1024 * 1024
LEAST_ROOM = 1024 * MEGABYTE
TIMES_THE_DATABASE = 3  # a copy of it, a migration's work, and a year to grow
CLOCK_TOLERANCE = timedelta(minutes=5)
NOWHERE = ("UTC", "GMT", "Etc/")  # zones that belong to no clinic


def is_live(look: Look) -> Finding:
    if look.clinic.mode == "live":
        return Finding("live", phrase("This is a live clinic."))
    return Finding(
        "live",
        phrase(
            "This is the demo: everybody in it is invented, its clock can be moved, and one signs in by a password alone."
        ),
        phrase("Never enter a real person here. For patients set up a clinic of its own: ./run install --data DIR."),
    )


def files_are_private(look: Look) -> Finding:
    """Modes are mended at every start, so what is found here came since; and files of another account stop the server's writing."""
    files = list(files_of(look.runtime.settings))
    open_ones, foreign = readable_by_others(files), of_another_account(files)
    if open_ones:
        return Finding(
            "files",
            phrase("Other accounts of the machine can read %(path)s.", path=str(open_ones[0])),
            phrase("On the server: chmod -R go= on the data folder and the key folder. The next start does it too."),
        )
    if foreign:
        return Finding(
            "files",
            phrase("%(path)s belongs to another account than the server's.", path=str(foreign[0])),
            phrase(
                "On the server: chown -R to the account that runs the server, and run every command as that account."
            ),
        )
    return Finding("files", phrase("Only the server's account can read its files."))


def readable_by_others(files: Iterable[Path]) -> list[Path]:
    return [path for path in files if path.exists() and path.stat().st_mode & OTHERS]


def of_another_account(files: Iterable[Path]) -> list[Path]:
    return [path for path in files if path.exists() and path.stat().st_uid != os.geteuid()]


def clock_runs_forward(look: Look) -> Finding:
    """A clock that was set back sends reminders twice as late, and what is written now stands before what was written then."""
    newest = newest_instant(look)
    if newest is not None and newest > look.now + CLOCK_TOLERANCE and look.clinic.mode == "live":
        return Finding(
            "clock",
            phrase(
                "The clock shows %(now)s UTC, and the database holds something of %(newest)s UTC.",
                now=_minute(look.now),
                newest=_minute(newest),
            ),
            phrase(
                "Set the machine's clock right, best by a time service (timedatectl set-ntp true). Nothing is lost; until the "
                "clock has caught up, reminders and days may be wrong."
            ),
        )
    return Finding("clock", phrase("The clock is not behind anything that is recorded."))


def _minute(at: datetime) -> str:
    return f"{at:%Y-%m-%d %H:%M}"


def newest_instant(look: Look) -> datetime | None:
    found = (look.session.scalar(select(func.max(column))) for column in (AuditEntry.at, Envelope.received_at))
    return max((at for at in found if at is not None), default=None)


def zone_is_a_place(look: Look) -> Finding:
    """Days open and close by the clinic's own midnight."""
    zone = look.clinic.time_zone
    if zone.startswith(NOWHERE):
        return Finding(
            "zone",
            phrase("The time zone is %(zone)s, where no clinic lies: summer time is missed.", zone=zone),
            phrase("Enter the clinic's own in the settings, such as Europe/Madrid."),
        )
    return Finding("zone", phrase("The time zone is %(zone)s.", zone=zone))


def disk_has_room(look: Look) -> Finding:
    """A full disk stops everything: what phones send is then refused, and waits on them."""
    free, used = shutil.disk_usage(look.runtime.settings.data).free, database_bytes(look)
    wanted = max(LEAST_ROOM, TIMES_THE_DATABASE * used)
    told = {"free": free // MEGABYTE, "used": used // MEGABYTE}
    if free < wanted:
        return Finding(
            "disk",
            phrase("%(free)s MB are free where the data lie; the database holds %(used)s MB.", **told),
            phrase("Make room, or move to a larger disk: %(wanted)s MB should be free.", wanted=wanted // MEGABYTE),
        )
    return Finding("disk", phrase("%(free)s MB are free where the data lie; the database holds %(used)s MB.", **told))


def database_bytes(look: Look) -> int:
    url = make_url(look.runtime.settings.database_url)
    if url.get_backend_name() == "sqlite":
        return Path(str(url.database)).stat().st_size
    return int(look.session.scalar(text("SELECT pg_database_size(current_database())")) or 0)


def keys_lie_apart(look: Look) -> Finding:
    """Whoever copies the data folder then has both: the sealed names and what opens them."""
    settings = look.runtime.settings
    if settings.keys.resolve().is_relative_to(settings.data.resolve()):
        return Finding(
            "keys_apart",
            phrase("The keys lie in the data folder, so a copy of that folder opens every name."),
            phrase(
                "On the server: stop it, move the folder keys to another place, best on another disk, name that place as "
                "YEARMARK_KEYS in yearmark.env in the data folder, and start it again."
            ),
        )
    return Finding("keys_apart", phrase("The keys lie apart from the data."))
