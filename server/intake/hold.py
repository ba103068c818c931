"""Holding an envelope that cannot be used now, and what a person then does with it. Only here an envelope becomes held or settled."""

import json
from collections.abc import Collection, Sequence
from dataclasses import dataclass
from datetime import datetime

from sqlalchemy import update
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

    `form_id`: the form it is about, where that could be read; its phone is told that the clinic has it.
    """

    envelope: Envelope
    reason: str
    detail: str | None = None
    form_id: str | None = None


class NotHeld(RuntimeError):
    """The envelope is not held any more: somebody else saw to it."""


def held_for(envelope: Envelope, problem: Problem, form_id: str | None = None) -> Held:
    """`detail` says where the fault lies, never what was typed there."""
    if isinstance(problem, AnswerProblem):
        return Held(envelope, "answers_not_valid", json.dumps(problem.problems, ensure_ascii=False), form_id)
    if isinstance(problem, PlanUnusable):
        return Held(envelope, "plan_unusable", str(problem), form_id)
    return Held(envelope, problem.reason, form_id=form_id)


def hold(session: Session, held: Sequence[Held]) -> None:
    for each in held:
        row = each.envelope
        row.state, row.held_reason, row.held_detail = "held", each.reason, each.detail
        row.held_form_id = each.form_id
    _mark_sheets_stale(session, {each.envelope.lookup_hash for each in held if each.form_id})


def _mark_sheets_stale(session: Session, lookup_hashes: Collection[bytes]) -> None:
    """The due sheets of these links list what is held; they are sealed again after this transaction."""
    if lookup_hashes:
        session.execute(update(Link).where(Link.lookup_hash.in_(lookup_hashes), LIVE_LINK).values(sheet_stale=True))


def release(session: Session, row: Envelope, *, now: datetime, by_id: int | None = None) -> None:
    """Back among the received, for a person put right what held it, such as a key brought back, or accepts it as it is."""
    if row.state != "held":
        raise NotHeld
    if row.held_reason == "same_id_other_content":
        row.same_id_other_content = False  # the person looked at both and lets this one count as a repeat
    if row.held_reason == "replaced_link":
        row.accepted_at = now  # the person asked the patient, who had answered before the link was replaced
    row.state = "received"
    _mark_sheets_stale(session, {row.lookup_hash})
    audit(session, "envelope:tried_again", f"envelope {row.id}", now=now, by_id=by_id, reason=row.held_reason)


def settle(session: Session, row: Envelope, settled_as: str, *, now: datetime, by_id: int | None = None) -> None:
    """A person decided that nothing more can come of it. The bytes stay."""
    if row.state != "held":
        raise NotHeld
    row.state, row.settled_at = "settled", now
    _mark_sheets_stale(session, {row.lookup_hash})
    audit(session, "envelope:settled", f"envelope {row.id}", now=now, by_id=by_id, settled_as=settled_as)
