"""When the clinic was last copied, and when a copy was last restored to try it, with what result."""

import json

from sqlalchemy import select
from sqlalchemy.orm import Session

from server.models import BackupCopy, RestoreProof

# What a drill found: also the files of the data set are the same; some differ; only rows were counted; the copy could not be restored.
SAME, DIFFERENT, NOT_COMPARED, FAILED = "same", "different", "not compared", "failed"


def newest_copy(session: Session, kind: str) -> BackupCopy | None:
    """Of `data` or of `keys`."""
    newest = select(BackupCopy).where(BackupCopy.kind == kind).order_by(BackupCopy.made_at.desc(), BackupCopy.id.desc())
    return session.scalars(newest.limit(1)).first()


def newest_proof(session: Session) -> RestoreProof | None:
    """The newest one that came out the same."""
    newest = select(RestoreProof).where(RestoreProof.same)
    return session.scalars(newest.order_by(RestoreProof.proved_at.desc(), RestoreProof.id.desc()).limit(1)).first()


def newest_drill(session: Session) -> RestoreProof | None:
    """Whatever it found."""
    newest = select(RestoreProof).order_by(RestoreProof.proved_at.desc(), RestoreProof.id.desc())
    return session.scalars(newest.limit(1)).first()


def found_by(drill: RestoreProof) -> str:
    """SAME, DIFFERENT, NOT_COMPARED or FAILED."""
    return SAME if drill.same else str(json.loads(drill.detail).get("files", FAILED))
