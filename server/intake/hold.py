"""Holding an envelope that cannot be used now, and what a person then does with it. Only here an envelope becomes held or settled."""

import json
from dataclasses import dataclass
from datetime import datetime

from sqlalchemy.orm import Session

from scoring.answers import AnswerProblem
from server.crypto.envelope import EnvelopeProblem
from server.models import Envelope
from server.timepoints.plans import PlanUnusable
from server.trust.audit import audit

Problem = EnvelopeProblem | AnswerProblem | PlanUnusable
PROBLEMS = (EnvelopeProblem, AnswerProblem, PlanUnusable)  # the same, for an `except`


@dataclass(frozen=True)
class Held:
    """An envelope of which no response can be made now. `reason`: a word of server/sync/PROTOCOL.md, section 5."""

    envelope: Envelope
    reason: str
    detail: str | None = None


class NotHeld(RuntimeError):
    """The envelope is not held any more: somebody else saw to it."""


def held_for(envelope: Envelope, problem: Problem) -> Held:
    """`detail` says where the fault lies, never what was typed there."""
    if isinstance(problem, AnswerProblem):
        return Held(envelope, "answers_not_valid", json.dumps(problem.problems, ensure_ascii=False))
    if isinstance(problem, PlanUnusable):
        return Held(envelope, "plan_unusable", str(problem))
    return Held(envelope, problem.reason)


def hold(held: Held) -> None:
    row = held.envelope
    row.state, row.held_reason, row.held_detail = "held", held.reason, held.detail


def release(session: Session, row: Envelope, *, now: datetime, by_id: int | None = None) -> None:
    """Back among the received, for a person put right what held it: a key brought back, a birth date corrected."""
    if row.state != "held":
        raise NotHeld
    if row.held_reason == "same_id_other_content":
        row.same_id_other_content = False  # the person looked at both and lets this one count as a repeat
    row.state = "received"
    audit(session, "envelope:tried_again", f"envelope {row.id}", now=now, by_id=by_id, reason=row.held_reason)


def settle(session: Session, row: Envelope, settled_as: str, *, now: datetime, by_id: int | None = None) -> None:
    """A person decided that nothing more can come of it. The bytes stay."""
    if row.state != "held":
        raise NotHeld
    row.state, row.settled_at = "settled", now
    audit(session, "envelope:settled", f"envelope {row.id}", now=now, by_id=by_id, settled_as=settled_as)
