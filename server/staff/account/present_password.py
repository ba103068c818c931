"""The present password asked once more, before what a person who finds a session open must not do."""

from server.models import StaffAccount
from server.staff.account.entering import paused
from server.staff.account.passwords import password_matches
from server.staff.page import words
from server.staff.page.database import reading, writing
from server.staff.page.request_context import request_context, signed_in
from server.trust.tries import count_right, count_wrong, paused_until, session_subject
from server.words.phrase import phrase

WRONG = phrase("This is not your present password.")


def present_password_problem(typed: str) -> str:
    """Why this is not taken for the present password, or "". Wrong ones are counted by session. Raises Busy."""
    me, now = signed_in(), request_context().real_now
    subject = session_subject(me.session_id)
    with reading() as session:
        until = paused_until(session, subject, None, now=now)
        known = session.get_one(StaffAccount, me.id).password_hash
    if until is not None:
        return paused(until)
    right = password_matches(typed, known)
    with writing() as session:
        until = paused_until(session, subject, None, now=now)
        if until is None and right:
            count_right(session, subject, None, now=now)
            return ""
        if until is None:
            count_wrong(session, subject, None, now=now)
    return paused(until) if until else words.say(WRONG)
