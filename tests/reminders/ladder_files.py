"""Reminder ladders of a clinic's own to try things on."""

import json
from typing import Any

from sqlalchemy import update

from server.models import InstalledLadder
from server.reminders.ladder_install import check_ladder_file, install_ladder, put_in_force
from tests.clinic_case import Case


def steps(*days: int, role: str = "preferred") -> list[dict[str, Any]]:
    """Steps named after their day."""
    return [{"step": f"{'day' if day >= 0 else 'before'}-{abs(day)}", "day": day, "role": role} for day in days]


def ladder_document(version: str = "1", *days: int, **changed: Any) -> dict[str, Any]:
    """The same steps for every timepoint, on `days` (0 and 10 if none)."""
    classes = {key: steps(*(days or (0, 10))) for key in ("before_surgery", "weeks", "years")}
    return {"id": "harbour", "version": version, "title": "Harbour reminders", **classes, **changed}


def ladder_file(version: str = "1", *days: int, **changed: Any) -> bytes:
    return json.dumps(ladder_document(version, *days, **changed)).encode()


def use(case: Case, data: bytes) -> str:
    """The name of the ladder, installed as from the command line and put in force."""
    checked = check_ladder_file(data)
    with case.store.writing() as session:
        install_ladder(session, checked, now=case.now, by_id=None)
        put_in_force(session, checked.ladder.name, now=case.now, by_id=None)
    return checked.ladder.name


def choose(case: Case, name: str) -> bool:
    with case.store.writing() as session:
        return put_in_force(session, name, now=case.now, by_id=None)


def alter(case: Case) -> None:
    """Somebody changes what was installed, behind the program's back."""
    with case.store.writing() as session:
        session.execute(update(InstalledLadder).values(content=ladder_file("1", 3).decode()))
