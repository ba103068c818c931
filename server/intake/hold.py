"""Holding an envelope that cannot be used now, and what a person then does with it. Only here an envelope becomes held or settled."""

import json
from collections.abc import Collection, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from sqlalchemy import ColumnElement, and_, update
from sqlalchemy.engine import CursorResult
from sqlalchemy.orm import Session

from scoring.answers import AnswerProblem
from server.crypto.envelope import EnvelopeProblem
from server.models import Envelope, Link
from server.queries.current import LIVE_LINK
from server.timepoints.plans import PlanUnusable
from server.trust.audit import audit

Problem = EnvelopeProblem | AnswerProblem | PlanUnusable
PROBLEMS = (EnvelopeProblem, AnswerProblem, PlanUnusable)  # the same, for an `except`


@dataclass(frozen=True)
class Held:
    """An envelope that cannot be used now. `reason`: a word of server/sync/PROTOCOL.md, section 5.

    `form_id`: the form it is about, where that could be read; its phone is told that the clinic has it. `notice`: the kind of the
    flag that a notice would raise, where that could be read; some pause messages while they are held, too (server.queries.pause).
    """

    envelope: Envelope
    reason: str
    detail: str | None = None
    form_id: str | None = None
    notice: str | None = None


class NotHeld(RuntimeError):
    """The envelope is not held any more: somebody else saw to it."""


def held_for(envelope: Envelope, problem: Problem, form_id: str | None = None, notice: str | None = None) -> Held:
    """`detail` says where the fault lies, never what was typed there."""
    if isinstance(problem, AnswerProblem):
        return Held(envelope, "answers_not_valid", json.dumps(problem.problems, ensure_ascii=False), form_id, notice)
    if isinstance(problem, PlanUnusable):
        return Held(envelope, "plan_unusable", str(problem), form_id, notice)
    return Held(envelope, problem.reason, form_id=form_id, notice=notice)


def hold(session: Session, held: Sequence[Held]) -> None:
    for each in held:
        row = each.envelope
        row.state, row.held_reason, row.held_detail = "held", each.reason, each.detail
        row.held_form_id, row.held_notice = each.form_id, each.notice
    _mark_sheets_stale(session, {each.envelope.lookup_hash for each in held if each.form_id})


def _mark_sheets_stale(session: Session, lookup_hashes: Collection[bytes]) -> None:
    """The due sheets of these links list what is held; they are sealed again after this transaction."""
    if lookup_hashes:
        session.execute(update(Link).where(Link.lookup_hash.in_(lookup_hashes), LIVE_LINK).values(sheet_stale=True))


def release(session: Session, row: Envelope, *, now: datetime, by_id: int | None = None) -> None:
    """Back among the received, for a person put right what held it, such as a key brought back, or accepts it as it is."""
    if row.state != "held":
        raise NotHeld
    for name, value in _released(row.held_reason, now).items():
        setattr(row, name, value)
    _mark_sheets_stale(session, {row.lookup_hash})
    audit(session, "envelope:tried_again", f"envelope {row.id}", now=now, by_id=by_id, reason=row.held_reason)


def _released(reason: str | None, now: datetime) -> dict[str, Any]:
    values: dict[str, Any] = {"state": "received"}
    if reason == "same_id_other_content":
        values["same_id_other_content"] = False  # the person looked at both and lets this one count as a repeat
    if reason == "replaced_link":
        values["accepted_at"] = now  # the person asked the patient, who had answered before the link was replaced
    return values


def settle(session: Session, row: Envelope, settled_as: str, *, now: datetime, by_id: int | None = None) -> None:
    """A person decided that nothing more can come of it. The bytes stay."""
    if row.state != "held":
        raise NotHeld
    row.state, row.settled_at = "settled", now
    _mark_sheets_stale(session, {row.lookup_hash})
    audit(session, "envelope:settled", f"envelope {row.id}", now=now, by_id=by_id, settled_as=settled_as)


def alike(row: Envelope, up_to: int | None = None) -> ColumnElement[bool]:
    """Over envelopes: held for the same reason, by the same link, and no notice of another kind, so that none is settled unseen.

    Up to an id, since more may come while a person looks.
    """
    same = (Envelope.lookup_hash == row.lookup_hash, Envelope.held_reason == row.held_reason, Envelope.state == "held")
    says_the_same = Envelope.held_notice.is_not_distinct_from(row.held_notice)
    return and_(*same, says_the_same, *(() if up_to is None else (Envelope.id <= up_to,)))


def release_alike(session: Session, row: Envelope, *, up_to: int, now: datetime, by_id: int) -> int:
    """`release` of this one and all alike up to an id, in one statement; how many there were. Raises NotHeld if none."""
    count = _change_alike(session, row, up_to, _released(row.held_reason, now))
    audit(
        session,
        "envelopes:tried_again",
        f"envelope {row.id}",
        now=now,
        by_id=by_id,
        reason=row.held_reason,
        count=count,
    )
    return count


def settle_alike(session: Session, row: Envelope, settled_as: str, *, up_to: int, now: datetime, by_id: int) -> int:
    """`settle` of this one and all alike up to an id, in one statement; how many there were. Raises NotHeld if none."""
    count = _change_alike(session, row, up_to, {"state": "settled", "settled_at": now})
    audit(session, "envelopes:settled", f"envelope {row.id}", now=now, by_id=by_id, settled_as=settled_as, count=count)
    return count


def _change_alike(session: Session, row: Envelope, up_to: int, values: dict[str, Any]) -> int:
    if row.state != "held":
        raise NotHeld
    changed = session.execute(update(Envelope).where(alike(row, up_to)).values(values))
    count = changed.rowcount if isinstance(changed, CursorResult) else 0
    if not count:
        raise NotHeld  # somebody else was faster, after this row was read
    _mark_sheets_stale(session, {row.lookup_hash})
    return count
