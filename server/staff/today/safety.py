"""Today and the safety net: who was first shown a safety answer is kept, and what went out about those that wait is said."""

import logging
from collections.abc import Sequence

from sqlalchemy import select
from sqlalchemy.orm import Session

from server.clinic.safety_net import note_shown
from server.models import SafetyNotice
from server.staff.page import words
from server.staff.page.request_context import request_context, runtime, signed_in
from server.staff.page.staff_names import staff_names
from server.worklist import WorkRow

log = logging.getLogger("yearmark.staff")


def keep_who_was_shown(rows: Sequence[WorkRow]) -> None:
    """Once the page is written. Should it fail, the page is shown all the same, and the net writes to somebody in vain."""
    shown = _safety_flags(rows)
    if not shown:
        return
    try:
        note_shown(runtime().store, shown, by_id=signed_in().id, at=request_context().now)
    except Exception as problem:
        log.error("who was shown a safety answer could not be kept: %s", type(problem).__name__)


def notices_about(session: Session, rows: Sequence[WorkRow]) -> list[str]:
    """Whom the net has written to about what this page shows, and when, in words; the newest last."""
    about = SafetyNotice.flag_id.in_(_safety_flags(rows))
    sent = select(SafetyNotice).where(about, SafetyNotice.outcome == "sent").order_by(SafetyNotice.done_at)
    staff, zone = staff_names(session), request_context().time_zone
    return [
        words.gettext("%(name)s on %(moment)s")
        % {"name": staff[row.account_id], "moment": words.moment(row.done_at, zone)}
        for row in session.scalars(sent)
    ]


def _safety_flags(rows: Sequence[WorkRow]) -> list[int]:
    return [flag_id for row in rows if row.kind == "safety_answer" for flag_id in row.flag_ids]
