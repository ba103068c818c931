"""Privacy notice and consent texts: what is in force since when and by whom, older versions, one text to read or to print."""

from collections.abc import Mapping
from dataclasses import dataclass, field

from flask import Response, abort, make_response, redirect, render_template, request, url_for
from sqlalchemy import func, select
from sqlalchemy.orm import Session
from werkzeug.wrappers import Response as AnyResponse

from server.fields.field import Errors
from server.fields.person import NOTICE_KINDS, PRIVACY
from server.models import Clinic, ClinicNotice, Consent
from server.queries.clinic_notices import (
    NoticeVersion,
    in_force,
    is_altered,
    notice_file,
    notice_versions,
    paragraphs,
)
from server.queries.clock import clinic_day, the_clinic
from server.staff.page import words
from server.staff.page.database import reading, writing
from server.staff.page.request_context import request_context, signed_in
from server.staff.page.staff_names import staff_names
from server.texts.notices import NoticeRefused, end_version, missing_languages
from server.words import labels
from server.words.languages import direction_of
from server.words.phrase import phrase

WHY_EACH = {
    PRIVACY: phrase("Whoever answers may ask who keeps the answers, what for, how long, and with which rights."),
    "contact": phrase("Without this consent no message goes out."),
    "research": phrase("Only who agreed to it is in files and figures for research."),
    "linkage": phrase("It lets the clinic look a patient up in registers."),
    "unfinished": phrase("It lets the phone send answers of a form that was never finished."),
}


@dataclass(frozen=True)
class ShownKind:
    """`given`: by the id of a text, how many consents that stand were given to it."""

    kind: str
    title: str
    current: NoticeVersion | None
    older: list[NoticeVersion]
    missing: list[str]
    given: Mapping[int, int]

    @property
    def missing_names(self) -> list[str]:
        return [words.language(each) for each in self.missing]

    def count(self, version: NoticeVersion) -> int:
        return sum(self.given.get(text.id, 0) for text in version.texts.values())


@dataclass(frozen=True)
class Typed:
    """What was typed to end a text and is not right, of which kind."""

    kind: str = ""
    values: Mapping[str, str] = field(default_factory=dict)
    errors: Errors = field(default_factory=dict)

    def of(self, kind: str) -> "Typed":
        """This, if it is about that kind; otherwise nothing."""
        return self if self.kind == kind else Typed()


def notices() -> str:
    return _page(Typed())


def _page(typed: Typed) -> str:
    with reading() as session:
        return render_template(
            "staff/notices/notices.html",
            kinds=_shown(session, the_clinic(session)),
            staff=staff_names(session),
            typed=typed,
            why_each=WHY_EACH,
            privacy=PRIVACY,
            language=words.language,
            moment=_moment,
        )


def _shown(session: Session, clinic: Clinic) -> list[ShownKind]:
    versions, given = notice_versions(session), _given(session)
    found = []
    for kind, title in labels.NOTICE.items():
        current = in_force(versions, kind)
        older = [each for each in versions if each.kind == kind and each is not current]
        missing = missing_languages(clinic, current)
        found.append(ShownKind(kind, words.sentence(words.say(title)), current, older, missing, given))
    return found


def _given(session: Session) -> dict[int, int]:
    standing = Consent.withdrawn_on.is_(None), Consent.set_aside_at.is_(None), Consent.notice_id.is_not(None)
    counted = select(Consent.notice_id, func.count()).where(*standing).group_by(Consent.notice_id)
    return {row[0]: row[1] for row in session.execute(counted) if row[0] is not None}


def notice_text(notice_id: int) -> str:
    """One text as patients read it, also of a version that was replaced; to be printed for whoever wants paper."""
    with reading() as session:
        row = _row(session, notice_id)
        version = next(each for each in notice_versions(session, row.kind) if each.version == row.version)
        return render_template(
            "staff/notices/text.html",
            row=row,
            version=version,
            kind=words.say(labels.NOTICE[row.kind]),
            altered=is_altered(row),
            paragraphs=paragraphs(row.content),
            direction=direction_of(row.language),
            clinic=the_clinic(session).name,
            since=clinic_day(the_clinic(session), version.since).isoformat(),
            language=words.language,
            moment=_moment,
        )


def notice_text_file(notice_id: int) -> Response:
    """The very bytes of which SHA-256 is told: title, an empty line, the text."""
    with reading() as session:
        row = _row(session, notice_id)
        response = make_response(notice_file(row.title, row.content))
        name = f"{row.kind}-{row.version}-{row.language}.txt"
    response.headers["Content-Type"] = "text/plain; charset=utf-8"
    response.headers.set("Content-Disposition", "attachment", filename=name)
    return response


def end() -> AnyResponse:
    """Takes a consent text out of force, with the reason; on a problem nothing is saved and the page shows it."""
    kind = request.form.get("kind", "")
    if kind not in NOTICE_KINDS:
        abort(404)
    try:
        with writing() as session:
            version, why = request.form.get("version", ""), request.form.get(f"why-{kind}", "")
            end_version(session, kind, version, why=why, now=request_context().now, by_id=signed_in().id)
    except NoticeRefused as problem:
        errors = {f"why-{kind}": sentences for sentences in problem.errors.values()}
        return make_response(_page(Typed(kind, request.form, errors)), 422)
    return redirect(url_for("staff.notices", done="notice-ended"))


def _row(session: Session, notice_id: int) -> ClinicNotice:
    row = session.get(ClinicNotice, notice_id)
    if row is None:
        abort(404)
    return row


def _moment(at: object) -> str:
    return words.moment(at, request_context().time_zone)  # type: ignore[arg-type]
