"""Whose a data folder is. A command of another account leaves files there that the server's own account cannot use.

That holds for root too: it may write everywhere, and what it leaves behind is root's.
"""

import os
import pwd
import shlex
import shutil
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


def account_name(uid: int) -> str:
    try:
        return pwd.getpwuid(uid).pw_name
    except KeyError:
        return f"account {uid}"


def _run_as(uid: int, gid: int) -> str:
    """Only root can use runuser and setpriv, and not every system has them."""
    try:
        name = pwd.getpwuid(uid).pw_name
    except KeyError:
        return f"setpriv --reuid={uid} --regid={gid} --clear-groups --"
    return f"runuser -u {name} --" if os.geteuid() == 0 and shutil.which("runuser") else f"sudo -u {name}"
