"""The audit trail, newest first. It holds no name and no answer."""

import json

from flask import render_template, request
from sqlalchemy import func, select

from server.models import AuditEntry
from server.staff.audit.audit_details import detail_words
from server.staff.audit.audit_words import action_words, thing_words
from server.staff.page import words
from server.staff.page.database import reading
from server.staff.page.paging import At, offset_in
from server.staff.page.request_context import request_context
from server.staff.page.staff_names import staff_names

PAGE = 100


def audit_trail() -> str:
    """One page of it: who did what to which thing."""
    offset = offset_in(request.args.get("from", ""))
    with reading() as session:
        total = session.scalar(select(func.count(AuditEntry.id))) or 0
        found = session.scalars(select(AuditEntry).order_by(AuditEntry.id.desc()).offset(offset).limit(PAGE)).all()
        return render_template(
            "staff/audit/audit.html",
            entries=found,
            staff=staff_names(session),
            at=At(offset, PAGE, total),
            detail=_detail,
            action=action_words,
            thing=thing_words,
            moment=lambda at: words.moment(at, request_context().time_zone),
        )


def _detail(entry: AuditEntry) -> str:
    return detail_words(entry.action, json.loads(entry.detail)) if entry.detail else ""
