"""When data and keys were last copied and proved; and after a restore what may be missing, until somebody releases it."""

from flask import abort, redirect, render_template, request, url_for
from sqlalchemy import select
from sqlalchemy.orm import Session
from werkzeug.wrappers import Response as AnyResponse

from server.jobs.clock import tick
from server.models import Restoration
from server.models.backup import WAITING_MESSAGES
from server.queries.copies import NOT_COMPARED, SAME, found_by, newest_copy, newest_drill, newest_proof
from server.queries.lost_windows import LostWindow, lost_windows
from server.queries.restored import waits_for_release, was_restored
from server.reminders.after_restore import may_have_gone, release
from server.staff.page import words
from server.staff.page.database import reading, writing
from server.staff.page.paging import At, offset_in
from server.staff.page.request_context import request_context, runtime, signed_in
from server.staff.page.staff_names import staff_names
from server.words.timepoints import timepoint_words

PAGE = 100


def backups_page() -> str:
    return _page()


def release_post(restoration_id: int) -> AnyResponse:
    """First a pass of the clock, so that every message that was due when the clinic was restored waits, and can be passed over."""
    chosen = request.form.get("waiting_messages", "")
    with reading() as session:
        found = session.get(Restoration, restoration_id) or abort(404)
        is_released = found.released_at is not None
    if chosen not in WAITING_MESSAGES:
        return AnyResponse(_page(unchosen=True), 422, mimetype="text/html")
    if not is_released:
        tick(runtime(), extend=False)
        with writing() as session:
            release(
                session, restoration_id, chosen, now=runtime().now(), real_now=runtime().real_clock(),
                by_id=signed_in().id,
            )  # fmt: skip
    return redirect(url_for("staff.backups", done="restored-released"))


def _page(*, unchosen: bool = False) -> str:
    real_now = runtime().real_clock()
    with reading() as session:
        waiting, drill, released = waits_for_release(session), newest_drill(session), _released(session)
        at, closed = _closed(session, waiting or next(iter(released), None))
        return render_template(
            "staff/backups/backups.html",
            waiting=waiting,
            going_twice=len(may_have_gone(session, waiting)) if waiting else 0,
            released=released,
            at=at,
            closed=closed,
            timepoint_words=timepoint_words,
            was_restored=was_restored(session),
            staff=staff_names(session),
            copies=[(kind, newest_copy(session, kind)) for kind in ("data", "keys")],
            proof=newest_proof(session),
            unproved=drill if drill and found_by(drill) != SAME else None,
            rows_are_same=drill is not None and found_by(drill) == NOT_COMPARED,
            ago=lambda at: words.ago(at, real_now),
            moment=lambda at: words.moment(at, request_context().time_zone),
            utc=lambda at: words.moment(at, "UTC"),
            unchosen=unchosen,
        )


def _closed(session: Session, newest: Restoration | None) -> tuple[At, list[LostWindow]]:
    """Of the newest restore, the forms that closed meanwhile."""
    offset = offset_in(request.args.get("from", ""))
    total, listed = (0, []) if newest is None else lost_windows(session, newest, offset=offset, size=PAGE)
    return At(offset, PAGE, total), listed


def _released(session: Session) -> list[Restoration]:
    """Earlier restores, the newest first."""
    found = select(Restoration).where(Restoration.released_at.is_not(None)).order_by(Restoration.id.desc())
    return list(session.scalars(found))
