"""The year marks of the shoulders on a page, read together and drawn one by one."""

from collections.abc import Collection
from datetime import date

from markupsafe import Markup
from sqlalchemy import select
from sqlalchemy.orm import Session

from server.models import Operation, Shoulder
from server.staff.marks import Mark, Strip, draw_strip
from server.worklist import history_marks

FARTHEST_BEFORE = -1.0  # a baseline answered years ahead would push everything else together


def read_strips(session: Session, shoulders: Collection[Shoulder], *, today: date) -> dict[int, Markup]:
    """Shoulder id to its drawn strip; an empty one where nothing is planned."""
    found = history_marks(session, {shoulder.patient_id for shoulder in shoulders}, today=today)
    ids = [shoulder.id for shoulder in shoulders]
    done = select(Operation.shoulder_id).where(Operation.shoulder_id.in_(ids), Operation.surgery_on.is_not(None))
    operated = set(session.scalars(done))
    strips = {}
    for shoulder in shoulders:
        marks = tuple(
            Mark(max(mark.years_from_surgery, FARTHEST_BEFORE), mark.kind, year_of(mark.code))
            for mark in found.get(shoulder.id, ())
        )
        title = f"{shoulder.side.capitalize()} shoulder"
        strips[shoulder.id] = draw_strip(Strip(title, marks, operation=shoulder.id in operated))
    return strips


def year_of(code: str) -> int | None:
    """The year of a code: "year-7" → 7; None for what is no year."""
    head, _, tail = code.partition("-")
    return int(tail) if head == "year" and tail.isdigit() else None
