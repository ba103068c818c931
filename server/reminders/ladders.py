"""Which reminder ladder is in force, and where its versions come from.

Rules:

1. A ladder is a setting of the clinic. Every follow-up that runs goes by the version in force today, whatever its plan. A change
   reaches who is being reminded now: the climb goes on from the day reached (server.schedule.ladder).
2. Each message keeps the version it was made under. A non-responder stays one: the day its ladder ended is stored, by the version
   in force on that day, and a later change takes nothing back.
3. A ladder that the clinic installed under a name is what that name means there, also when the program ships one under it later.
4. While the ladder in force cannot be used, because its bytes were altered or this version of the program cannot read it, no
   message is made and none is sent. It is never replaced by another one silently.
"""

import hashlib
from collections.abc import Mapping
from functools import cache
from importlib.resources import files

from sqlalchemy import bindparam, select
from sqlalchemy.orm import Session

from scoring.strict_json import load_strict_json
from server.models import InstalledLadder, LadderChoice
from server.schedule.ladder import Ladder
from server.schedule.ladder_parsing import parse_ladder

DEFAULT = "standard@1"
_LAST_CHOICE = select(LadderChoice.name).order_by(LadderChoice.id.desc()).limit(1)
_INSTALLED = select(InstalledLadder).where(InstalledLadder.name == bindparam("ladder"))
ALTERED = "its bytes in the database are no longer those that were installed"
NOT_READ = "this version of the program cannot read it"


class LadderUnusable(LookupError):
    """There is no ladder of this name that can be used; the message says why."""


@cache
def shipped_ladders() -> Mapping[str, Ladder]:
    """Those that come with the program, the same for every clinic."""
    folder = files("instruments") / "ladders"
    found = (parse_ladder(load_strict_json(file.read_bytes())) for one in folder.iterdir() for file in one.iterdir())
    return {ladder.name: ladder for ladder in found}


def was_chosen(session: Session) -> bool:
    """Whether anybody has ever said how this clinic reminds."""
    return session.scalar(select(LadderChoice.id).limit(1)) is not None


def name_in_force(session: Session) -> str:
    last = session.scalars(_LAST_CHOICE).first()
    return last or DEFAULT


def ladder_in_force(session: Session) -> Ladder:
    """Raises LadderUnusable, by rule 4."""
    return ladder_named(session, name_in_force(session))


def ladder_named(session: Session, name: str) -> Ladder:
    """The installed one of this name, else the program's own. Raises LadderUnusable."""
    row = session.scalars(_INSTALLED, {"ladder": name}).one_or_none()
    if row is not None:
        return read_installed(row)
    if name not in shipped_ladders():
        raise LadderUnusable(f"the reminder ladder {name} cannot be used: there is none of this name")
    return shipped_ladders()[name]


def read_installed(row: InstalledLadder) -> Ladder:
    """Raises LadderUnusable when its bytes are not those that were installed, or cannot be read."""
    if hashlib.sha256(row.content.encode("utf-8", "surrogatepass")).digest() != row.sha256:
        raise LadderUnusable(f"the reminder ladder {row.name} cannot be used: {ALTERED}")
    try:
        ladder = parse_ladder(load_strict_json(row.content))
    except ValueError as problem:
        raise LadderUnusable(f"the reminder ladder {row.name} cannot be used: {NOT_READ}") from problem
    if ladder.name != row.name:
        raise LadderUnusable(f"the reminder ladder {row.name} cannot be used: {ALTERED}")
    return ladder
