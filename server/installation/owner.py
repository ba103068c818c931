"""Whose a data folder is. A command of another account leaves files there that the server's own account cannot use.

That holds for root too: it may write everywhere, and what it leaves behind is root's.
"""

import os
import pwd
import shlex
import shutil
from collections.abc import Iterable
from pathlib import Path

from server.installation.called import called


class OthersFolder(RuntimeError):
    """The data folder belongs to another account than this one."""


def refuse_others_folder(folder: Path, words: list[str]) -> None:
    """Raises OthersFolder. Looks at the folder alone, since another account may not look into it. `words`: the command, for its repetition.

    An empty folder has an owner too: whoever made it for an account has said whose the clinic is to be.
    """
    try:
        found = folder.stat()
    except OSError:
        return  # not there yet, or said by whoever opens it
    if found.st_uid == os.geteuid():
        return
    raise OthersFolder(
        f"This data folder belongs to {account_name(found.st_uid)} ({folder}). {_what_to_do(found, folder, words)}\nNothing was changed."
    )


def _what_to_do(found: os.stat_result, folder: Path, words: list[str]) -> str:
    """Nobody is told to run a clinic as root. The folder is always named, since sudo takes YEARMARK_DATA away."""
    if found.st_uid == 0:
        return (
            "It should belong to the account that runs the clinic, and so should its key folder. As root, with that account's name "
            f"for ACCOUNT: chown -R ACCOUNT {shlex.quote(str(folder))}"
        )
    named = any(word == "--data" or word.startswith("--data=") for word in words)
    said = shlex.join(words if named else [*words, "--data", str(folder)])
    return f"Run it as that account: {_run_as(found.st_uid, found.st_gid)} {called()} {said}"


def others_file(files: Iterable[Path], *folders: Path) -> str | None:
    """What is said of the first of these files that is another account's and kept from this one; None where there is none.

    `folders`: what the clinic has, data and keys, to be given to this account.
    """
    for file in files:
        try:
            owner = file.stat().st_uid
        except OSError:
            continue
        if owner != os.geteuid() and not os.access(file, os.R_OK | os.W_OK):
            inner = [each for each in folders if any(each.is_relative_to(other) for other in folders if other != each)]
            outer = shlex.join(str(each) for each in folders if each not in inner)
            return (
                f"{file} belongs to {account_name(owner)}, so {account_name(os.geteuid())} cannot use it. What belongs to a clinic has "
                f"to belong to the account that runs it. As root: chown -R {name_to_type(os.geteuid())} {outer}; then the same command "
                "once more"
            )
    return None


def name_to_type(uid: int) -> str:
    """As a command takes the account: by its name, or by its number where it has none."""
    try:
        return pwd.getpwuid(uid).pw_name
    except KeyError:
        return str(uid)


def account_name(uid: int) -> str:
    name = name_to_type(uid)
    return f"account {uid}" if name == str(uid) else name


def _run_as(uid: int, gid: int) -> str:
    """Only root can use runuser and setpriv, and not every system has them."""
    try:
        name = pwd.getpwuid(uid).pw_name
    except KeyError:
        return f"setpriv --reuid={uid} --regid={gid} --clear-groups --"
    return f"runuser -u {name} --" if os.geteuid() == 0 and shutil.which("runuser") else f"sudo -u {name}"
