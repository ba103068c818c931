"""The audit trail, newest first. It holds no name and no answer."""

import json

from flask import render_template, request
from sqlalchemy import func, select

from server.models import AuditEntry
from server.staff.page import words
from server.staff.page.database import reading
from server.staff.page.paging import At, offset_in
from server.staff.page.request_context import request_context
from server.staff.page.staff_names import staff_names

PAGE = 100


def audit_trail() -> str:
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
            moment=lambda at: words.moment(at, request_context().time_zone),
        )


def _detail(text: str | None) -> str:
    """In words: "on 2026-11-15, reason cancelled"."""
    found = json.loads(text) if text else {}
    return ", ".join(f"{words.plain(name)} {_said(value)}" for name, value in found.items())


def _said(value: object) -> str:
    if isinstance(value, list):
        return words.listed([str(each) for each in value]) or words.gettext("none")
    if isinstance(value, dict):
        return "; ".join(f"{words.plain(name)} “{_said(each)}”" for name, each in value.items()) or words.gettext(
            "none"
        )
    return words.gettext("none") if value is None else str(value)
