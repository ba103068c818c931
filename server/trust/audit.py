"""The audit writer: the one way an entry is made. Any area may use it."""

import json
from datetime import datetime
from typing import Any

from sqlalchemy.orm import Session

from server.models import AuditEntry


def audit(session: Session, action: str, thing: str, *, now: datetime, by_id: int | None = None, **detail: Any) -> None:
    """`action` is subject:verb, `thing` a kind and an id ("patient 17"). `detail` never holds a name or an answer."""
    text = json.dumps(detail, sort_keys=True, default=str) if detail else None
    session.add(AuditEntry(at=now, by_id=by_id, action=action, thing=thing, detail=text))
