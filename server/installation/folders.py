"""A folder that this account cannot make or write, in a sentence: which one, what is safe, what to do."""

import grp
import os
import shlex
from pathlib import Path

from server.installation.owner import account_name, name_to_type

KEY_FOLDER = "the key folder (YEARMARK_KEYS)"
RIGHTS = os.R_OK | os.W_OK | os.X_OK


def folder_problem(folder: Path, safe: str, *, what: str = "") -> str | None:
    """None where the folder can be written, or made. Nothing is tried: it is only looked at.

    `what` says what the folder is for, where its name does not.
    """
    folder = folder.absolute()
    there = next(each for each in (folder, *folder.parents) if _is_there(each))
    named, me = f"{what} {folder}".strip(), account_name(os.geteuid())
    if not there.is_dir():
        return f"{named} cannot be used: {there} is no folder. {safe}. Name another one"
    if os.access(there, RIGHTS if there == folder else os.W_OK | os.X_OK):
        return None
    if there != folder and not os.access(there, os.X_OK):
        return f"{named} cannot be reached by {me}: {there} is closed to that account. {safe}. Open the way there, or name another folder"
    said = "cannot be written" if there == folder else "cannot be made"
    if os.geteuid() == 0:
        return f"{named} {said}: nothing can be written in {there}. {safe}. Look whether its disk is mounted read-only"
    return (
        f"{named} {said} by {me}. {safe}. Make it and give it to the account that runs the server, as root: "
        f"install -d -o {name_to_type(os.geteuid())} -g {_group()} -m 0700 {shlex.quote(str(folder))}; then the same command once more"
    )


def _is_there(path: Path) -> bool:
    try:
        return path.exists()
    except OSError:  # behind a closed folder
        return False


def _group() -> str:
    try:
        return grp.getgrgid(os.getegid()).gr_name
    except KeyError:
        return str(os.getegid())
