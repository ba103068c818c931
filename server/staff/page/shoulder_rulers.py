"""The year marks of the shoulders on a page, read together and drawn one by one."""

from collections.abc import Collection
from datetime import date

from markupsafe import Markup
from sqlalchemy import select
from sqlalchemy.orm import Session

from server.models import Operation, Shoulder
from server.queries.current import STANDS
from server.schedule.timepoint_code import TimepointCode
from server.staff.page import words
from server.staff.page.year_mark_drawing import Mark, ShoulderRuler, draw_ruler
from server.words import labels
from server.worklist import history_marks

DAYS_A_YEAR = 365.2425
FARTHEST_BEFORE = -1.0  # a baseline answered years ahead would push everything else together


def read_rulers(session: Session, shoulders: Collection[Shoulder], *, today: date) -> dict[int, Markup]:
    """Shoulder id to its drawn strip; an empty one where nothing is planned."""
    found = history_marks(session, {shoulder.patient_id for shoulder in shoulders}, today=today)
    operated = _operated(session, [shoulder.id for shoulder in shoulders])
    rulers = {}
    for shoulder in shoulders:
        marks = tuple(
            Mark(max(mark.years_from_surgery, FARTHEST_BEFORE), mark.kind, _year(mark.years_from_surgery, mark.code))
            for mark in found.get(shoulder.id, ())
        )
        title = words.say(labels.SHOULDER[shoulder.side])
        rulers[shoulder.id] = draw_ruler(ShoulderRuler(title, marks, operated.get(shoulder.id, ())))
    return rulers


def _operated(session: Session, shoulder_ids: list[int]) -> dict[int, tuple[float, ...]]:
    """Shoulder id to the times of its done operations, in years after the first."""
    done = select(Operation.shoulder_id, Operation.surgery_on).where(
        Operation.shoulder_id.in_(shoulder_ids), Operation.surgery_on.is_not(None), STANDS
    )
    days: dict[int, list[date]] = {}
    for shoulder_id, on in session.execute(done.order_by(Operation.surgery_on)):
        if on is not None:
            days.setdefault(shoulder_id, []).append(on)
    return {id_: tuple((on - found[0]).days / DAYS_A_YEAR for on in found) for id_, found in days.items()}


def _year(years: float, code: str) -> int | None:
    """The year of a yearly timepoint on the shoulder's own ruler, which goes on after a revision; None for any other."""
    return round(years) or None if TimepointCode.parse(code).year is not None else None
