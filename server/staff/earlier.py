"""Scores of a response that were superseded by a later rescore."""

from sqlalchemy import select
from sqlalchemy.orm import Session

from server.models import Score


def earlier_scores(session: Session, response_id: int) -> dict[tuple[str, str], list[Score]]:
    """By instrument and scale, the last superseded first; a scale that was never rescored is left out."""
    superseded = select(Score).where(Score.response_id == response_id, Score.superseded_at.is_not(None))
    found: dict[tuple[str, str], list[Score]] = {}
    for score in session.scalars(superseded.order_by(Score.superseded_at.desc(), Score.id.desc())):
        found.setdefault((score.instrument, score.scale), []).append(score)
    return found
