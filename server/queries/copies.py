"""When the clinic was last copied, and when a copy was last proved by restoring it."""

from sqlalchemy import select
from sqlalchemy.orm import Session

from server.models import BackupCopy, RestoreProof


def newest_copy(session: Session, kind: str) -> BackupCopy | None:
    """Of `data` or of `keys`."""
    newest = select(BackupCopy).where(BackupCopy.kind == kind).order_by(BackupCopy.made_at.desc(), BackupCopy.id.desc())
    return session.scalars(newest.limit(1)).first()


def newest_proof(session: Session) -> RestoreProof | None:
    """The newest one that came out the same."""
    newest = select(RestoreProof).where(RestoreProof.same)
    return session.scalars(newest.order_by(RestoreProof.proved_at.desc(), RestoreProof.id.desc()).limit(1)).first()
