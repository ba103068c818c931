"""Entering a version of the privacy notice or of a consent text: typed or from files, checked beside the words in force, installed.

One page in two states: words to be typed, and words that were checked, with what changes. What is installed is what was checked: words
that were changed since are checked again.
"""

import hashlib
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from flask import abort, make_response, redirect, render_template, request, url_for
from sqlalchemy.orm import Session
from werkzeug.wrappers import Response as AnyResponse

from server.fields.field import Errors
from server.fields.person import NOTICE_KINDS
from server.queries.clinic_notices import NoticeVersion, in_force, notice_versions, paragraphs
from server.queries.clock import the_clinic
from server.staff.page import words
from server.staff.page.database import reading, writing
from server.staff.page.request_context import request_context, signed_in
from server.texts.notice_difference import ChangedParagraph, changed_paragraphs
from server.texts.notices import (
    LONGEST_CONTENT,
    LONGEST_TITLE,
    LONGEST_VERSION,
    NoticeRefused,
    Wording,
    add_languages,
    install_version,
    languages_of,
    missing_languages,
    notice_problems,
    tidy,
)
from server.words import labels
from server.words.languages import direction_of

LONGEST_FILE = 4 * LONGEST_CONTENT + 1000  # bytes of the longest text, with room to say that it is too long
MORE, NEW = "more", "new"


@dataclass(frozen=True)
class Draft:
    """`how`: NEW for the next version, MORE for languages that the version in force lacks. `texts` are tidied, of `languages`."""

    how: str
    version: str
    languages: list[str]
    texts: Mapping[str, Wording]

    @property
    def digest(self) -> str:
        """Of all that is installed, so that nothing else is than what a check has shown."""
        parts = [
            self.how,
            self.version,
            *(f"{code}\0{each.title}\0{each.content}" for code, each in self.texts.items()),
        ]
        return hashlib.sha256("\0".join(parts).encode("utf-8", "surrogatepass")).hexdigest()


@dataclass(frozen=True)
class Checked:
    """A text as it will be read, and what differs from the one in force; None where there is none."""

    language: str
    title: str
    paragraphs: list[dict[str, Any]]
    changes: list[ChangedParagraph] | None


def new_notice(kind: str) -> str:
    """The next version, filled with the words in force."""
    with reading() as session:
        current = _current(session, kind)
        languages = languages_of(the_clinic(session))
        there = current.texts if current else {}
        texts = {code: Wording(there[code].title, there[code].content) for code in languages if code in there}
        return _page(session, kind, Draft(NEW, "", languages, texts))


def more_languages(kind: str) -> str:
    """The languages that the version in force lacks."""
    with reading() as session:
        current = _current(session, kind)
        missing = missing_languages(the_clinic(session), current)
        if current is None or not missing:
            abort(404)
        return _page(session, kind, Draft(MORE, current.version, missing, {}))


def check() -> AnyResponse:
    """What was typed, or the files, beside the words in force; or what is wrong with them. Nothing is installed."""
    kind = request.form.get("kind", "")
    with reading() as session:
        draft, errors = _read(session, kind)
        errors = {**notice_problems(draft.version, draft.texts, draft.languages), **errors}
        page = _page(session, kind, draft, errors, checked=not errors)
        return make_response(page, 422 if errors else 200)


def install() -> AnyResponse:
    """The checked words once more. Whatever is not right, the page keeps what was typed."""
    kind = request.form.get("kind", "")
    with reading() as session:
        draft, _errors = _read(session, kind)
    if request.form.get("checked") != draft.digest:
        return check()
    try:
        with writing() as session:
            now, by_id = request_context().now, signed_in().id
            if draft.how == MORE:
                add_languages(session, kind, draft.version, draft.texts, now=now, by_id=by_id)
            else:
                replaces = request.form.get("replaces", "")
                install_version(session, kind, draft.version, draft.texts, replaces=replaces, now=now, by_id=by_id)
    except NoticeRefused as problem:
        with reading() as session:
            return make_response(_page(session, kind, draft, problem.errors), 422)
    return redirect(url_for("staff.notices", done="notice-installed"))


def _read(session: Session, kind: str) -> tuple[Draft, Errors]:
    """Of the form, with files in place of what was typed where there are any."""
    current, clinic = _current(session, kind), the_clinic(session)
    how = MORE if request.form.get("how") == MORE else NEW
    languages = languages_of(clinic) if how == NEW else missing_languages(clinic, current)
    texts: dict[str, Wording] = {}
    errors: Errors = {}
    for code in languages:
        typed = Wording(request.form.get(f"title-{code}", ""), request.form.get(f"content-{code}", ""))
        try:
            texts[code] = tidy(_of_file(code) or typed)
        except UnicodeDecodeError:
            texts[code] = tidy(typed)
            said = words.gettext(
                "The file is no plain text in UTF-8. Save it as “plain text, UTF-8”, or paste the words."
            )
            errors[f"content-{code}"] = [said]
    version = " ".join(request.form.get("version", "").split())
    return Draft(how, version, languages, texts), errors


def _of_file(code: str) -> Wording | None:
    """The first line of a file is the title."""
    upload = request.files.get(f"file-{code}")
    data = upload.stream.read(LONGEST_FILE) if upload else b""
    if not data:
        return None
    title, _, content = data.decode("utf-8-sig").strip().partition("\n")
    return Wording(title, content)


def _current(session: Session, kind: str) -> NoticeVersion | None:
    if kind not in NOTICE_KINDS:
        abort(404)
    return in_force(notice_versions(session, kind), kind)


def _page(session: Session, kind: str, draft: Draft, errors: Errors | None = None, *, checked: bool = False) -> str:
    current = _current(session, kind)
    return render_template(
        "staff/notices/enter.html",
        kind=kind,
        title=words.sentence(words.say(labels.NOTICE[kind])),
        draft=draft,
        current=current,
        used=[each.version for each in notice_versions(session, kind)],
        errors=errors or {},
        field_labels=_labels(draft),
        checked=[_checked(code, each, current) for code, each in draft.texts.items()] if checked else [],
        longest={"version": LONGEST_VERSION, "title": LONGEST_TITLE, "content": LONGEST_CONTENT},
        language=words.language,
        direction_of=direction_of,
    )


def _labels(draft: Draft) -> dict[str, str]:
    named = {"version": words.gettext("Version")}
    for code in draft.languages:
        of = {"language": words.language(code)}
        named[f"title-{code}"] = words.gettext("Title, %(language)s") % of
        named[f"content-{code}"] = words.gettext("Text, %(language)s") % of
    return named


def _checked(code: str, new: Wording, current: NoticeVersion | None) -> Checked:
    old = current.texts.get(code) if current else None
    changes = changed_paragraphs(Wording(old.title, old.content), new) if old else None
    return Checked(code, new.title, paragraphs(new.content), changes)
