"""Checks, installs and chooses reminder ladders. Locked, one transaction, audited.

Rules:

1. An installed ladder never changes and is never deleted. The same bytes again are already installed; a correction is a new version.
2. A name that the program ships is not the clinic's to use.
3. Only a ladder whose every step can be carried out here is installed or put in force.
"""

import hashlib
from dataclasses import dataclass
from datetime import datetime

from sqlalchemy import select
from sqlalchemy.orm import Session

from scoring.data_reader import DataProblem
from scoring.json_file import check_sha256, decode_file, load_file
from scoring.strict_json import JsonProblem
from server.models import Clinic, InstalledLadder, LadderChoice
from server.reminders.channels.table import CHANNELS
from server.reminders.ladders import (
    LadderUnusable,
    ladder_named,
    name_in_force,
    read_installed,
    shipped_ladders,
)
from server.schedule.ladder import FIXED_CHANNEL, Ladder, Role
from server.schedule.ladder_parsing import parse_ladder
from server.trust.audit import audit

LONGEST_BYTES = 20_000
BY_A_PERSON = (Role.TASK, Role.SHORT_FORM)


class LadderRefused(ValueError):
    """The ladder cannot be installed or put in force; the message says what there is and what to do."""


@dataclass(frozen=True)
class CheckedLadder:
    """A file that can be installed. `content` is all of it, `sha256` that of its bytes."""

    ladder: Ladder
    content: str
    sha256: bytes


@dataclass(frozen=True)
class LadderUse:
    """One ladder as the list shows it. `ladder` is None when it is unusable; `why` says why then.

    `installed` is None for one of the program's own. `choice` is the last choice of it, None when it never was one.
    """

    name: str
    ladder: Ladder | None
    why: str
    installed: InstalledLadder | None
    choice: LadderChoice | None
    in_force: bool


def check_ladder_file(data: bytes, *, stated_sha256: str = "") -> CheckedLadder:
    """Raises LadderRefused at the first thing that is wrong, with its place."""
    try:
        check_sha256(data, stated_sha256)
        content = decode_file(data, LONGEST_BYTES, "a ladder")
        ladder = parse_ladder(load_file(content))
    except (JsonProblem, DataProblem) as problem:
        raise LadderRefused(str(problem).removeprefix("ladder ")) from problem
    why = why_not_carried_out(ladder)
    if why:
        raise LadderRefused(why)
    return CheckedLadder(ladder, content, hashlib.sha256(data).digest())


def why_not_carried_out(ladder: Ladder) -> str:
    """The first step that nothing here carries out, and why; empty when every step can be."""
    there_are = [channel.name for channel in CHANNELS]
    for place, steps in (
        ("before_surgery", ladder.before_surgery),
        ("weeks", ladder.weeks),
        ("years", ladder.years),
    ):
        for number, step in enumerate(steps):
            where = f"{place}[{number}] role"
            if step.role in BY_A_PERSON:
                return f"{where}: no task is made of a {step.role} step yet; who does not answer is found on the page Today"
            if step.role == Role.NOTICE:
                return f"{where}: there is no message yet that announces a form; the first step is the invitation"
            if step.role in FIXED_CHANNEL and FIXED_CHANNEL[step.role] not in there_are:
                return f"{where}: a {step.role} step needs the channel {FIXED_CHANNEL[step.role]}, and there is only {', '.join(there_are)}"
    return ""


def already_known(session: Session, checked: CheckedLadder) -> bool:
    """Whether this very ladder is there. Raises LadderRefused when its name is taken by another."""
    name = checked.ladder.name
    row = session.get(InstalledLadder, name)
    if row is not None and row.sha256 == checked.sha256:
        return True
    if row is not None:
        raise LadderRefused(
            f"version: {name} was installed on {row.installed_at:%Y-%m-%d} with other content, and an installed ladder never "
            "changes; give the file a version of its own"
        )
    if name not in shipped_ladders():
        return False
    if shipped_ladders()[name] == checked.ladder:
        return True
    raise LadderRefused(f"id: {name} comes with the program and is another one; give the ladder an id of its own")


def install_ladder(session: Session, checked: CheckedLadder, *, now: datetime, by_id: int | None) -> bool:
    """False when it was there. Raises LadderRefused. It is not in force before it is chosen. `by_id` is None from the command line."""
    # Two installations at one time: PostgreSQL queues them here, SQLite's write lock already did.
    session.execute(select(Clinic.id).with_for_update()).all()
    if already_known(session, checked):
        return False
    name = checked.ladder.name
    session.add(
        InstalledLadder(
            name=name, content=checked.content, sha256=checked.sha256, installed_at=now, installed_by_id=by_id
        )
    )
    audit(session, "ladder:installed", f"ladder {name}", now=now, by_id=by_id, sha256=checked.sha256.hex())
    session.flush()
    return True


def put_in_force(session: Session, name: str, *, now: datetime, by_id: int | None) -> bool:
    """Reminders go by this ladder from now on. False when they did. Raises LadderRefused."""
    session.execute(select(Clinic.id).with_for_update()).all()
    try:
        ladder = ladder_named(session, name)
    except LadderUnusable as problem:
        there_are = ", ".join(each.name for each in list_ladders(session) if each.ladder)
        raise LadderRefused(f"{problem}; there are: {there_are}") from problem
    if why := why_not_carried_out(ladder):
        raise LadderRefused(f"{name} cannot be put in force: {why}")
    before = name_in_force(session)
    if before == name:
        return False
    session.add(LadderChoice(name=name, chosen_at=now, chosen_by_id=by_id))
    audit(session, "ladder:in_force", f"ladder {name}", now=now, by_id=by_id, before=before)
    session.flush()
    return True


def list_ladders(session: Session) -> list[LadderUse]:
    """The one in force first, then by name."""
    installed = {row.name: row for row in session.scalars(select(InstalledLadder))}
    choices = {row.name: row for row in session.scalars(select(LadderChoice).order_by(LadderChoice.id))}
    in_force = name_in_force(session)
    found = []
    for name in {*shipped_ladders(), *installed}:
        row, why, ladder = installed.get(name), "", None
        try:
            ladder = shipped_ladders()[name] if row is None else read_installed(row)
        except LadderUnusable as problem:
            why = str(problem)
        found.append(LadderUse(name, ladder, why, row, choices.get(name), name == in_force))
    return sorted(found, key=lambda each: (not each.in_force, each.name))
