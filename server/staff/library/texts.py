"""Texts: what each instrument is asked in, a file checked and installed, and one installed text to read."""

import base64
from collections.abc import Mapping
from dataclasses import dataclass, field

from flask import Response, abort, make_response, redirect, render_template, request, url_for
from werkzeug.wrappers import Response as AnyResponse

from server.models import InstalledText
from server.queries.texts_in_force import installed_document, is_altered, read_wording
from server.staff.page import words
from server.staff.page.database import reading, writing
from server.staff.page.request_context import request_context, runtime, signed_in
from server.staff.page.staff_names import staff_names
from server.texts.check import LONGEST_BYTES, CheckedText, TextProblem, check_file
from server.texts.decision import decisions, descriptive_in_use, set_hash, what_waits
from server.texts.difference import Change, Document, difference
from server.texts.install import InstallRefused, LicenceProblem, in_force, install_text, read_licence
from server.texts.listing import compared_with, installed_texts, list_texts
from server.words.languages import direction_of
from server.words.phrase import phrase

LABELS = {
    "owner": phrase("Owner"),
    "licence_reference": phrase("Licence reference"),
    "translation_version": phrase("Translation version"),
    "dated_on": phrase("Dated"),
    "replaces": phrase("Replaces"),
    "file": phrase("File"),
    "words": phrase("Why"),
}


@dataclass(frozen=True)
class Typed:
    """What was typed and is not right yet, by field."""

    values: Mapping[str, str] = field(default_factory=dict)
    errors: Mapping[str, list[str]] = field(default_factory=dict)


@dataclass(frozen=True)
class Beside:
    """The new text beside one that is there: `name` in words."""

    name: str
    language: str
    changes: list[Change]


def texts() -> str:
    return texts_page(Typed())


def texts_page(typed: Typed) -> str:
    """The list, with a file's faults or what was typed for a decision."""
    library = runtime().library
    with reading() as session:
        descriptive, wording = descriptive_in_use(session, library), read_wording(session, library)
        return render_template(
            "staff/library/texts.html",
            listed=list_texts(session, library),
            older=[row for row in installed_texts(session) if row.replaced_at is not None],
            descriptive=descriptive,
            shown=set_hash([each.text_id for each in descriptive]),
            decisions=decisions(session),
            wordless={each.spec for each in library.definitions.values() if not wording.in_force(each)},
            waiting=what_waits(session, library, request_context().today),
            staff=staff_names(session),
            typed=typed,
            field_labels=LABELS,
            address=address,
            language=words.language,
            moment=lambda at: words.moment(at, request_context().time_zone),
        )


def check_text() -> Response:
    """An uploaded file, checked: its difference and the fields of its licence, or what is wrong with it."""
    upload = request.files.get("file")
    data = upload.stream.read(LONGEST_BYTES + 1) if upload else b""
    if not data:
        return _wrong_file([words.gettext("Choose the file first; it is text/<language>.json, and not empty.")])
    try:
        checked = check_file(data, runtime().library, stated_sha256=request.form.get("sha256", ""))
    except TextProblem as problem:
        return _wrong_file(problem.problems)
    return make_response(_check_page(checked, data, Typed()))


def install() -> AnyResponse:
    """The checked file once more, with its licence. Whatever is not right, the page keeps the file and what was typed."""
    data = _carried()
    try:
        checked = check_file(data, runtime().library)
    except TextProblem as problem:
        return _wrong_file(problem.problems)
    try:
        licence = read_licence(request.form, today=request_context().today)
        with writing() as session:
            replaces = request.form.get("replaces", "")
            install_text(session, checked, licence, replaces=replaces, now=request_context().now, by_id=signed_in().id)
    except LicenceProblem as problem:
        errors = {name: [f"This {one}." for one in said] for name, said in problem.errors.items()}
        return make_response(_check_page(checked, data, Typed(request.form, errors)), 422)
    except InstallRefused as problem:
        return make_response(_check_page(checked, data, Typed(request.form, {"replaces": [f"{problem}."]})), 422)
    return redirect(url_for("staff.texts", done="text-installed"))


def installed_text(spec: str, language: str, name: str) -> str:
    """The words of one installed text, also of one that was replaced: responses name it."""
    library = runtime().library
    with reading() as session:
        row = session.get(InstalledText, f"{spec}/{language}/{name}")
        if row is None or spec not in library.definitions:  # an older program does not know newer instruments
            abort(404)
        return render_template(
            "staff/library/text.html",
            row=row,
            altered=is_altered(row),
            text=installed_document(row),
            definition=library.instrument(spec),
            direction=direction_of(language),
            language=words.language,
            moment=lambda at: words.moment(at, request_context().time_zone),
        )


def address(text_id: str) -> str:
    """Where a text of this id is to be read: an installed one."""
    spec, language, name = text_id.split("/")
    return url_for("staff.installed_text", spec=spec, language=language, name=name)


def _check_page(checked: CheckedText, data: bytes, typed: Typed) -> str:
    with reading() as session:
        current = in_force(session, checked.definition.spec, checked.language)
        beside = [_beside(checked, name, there) for name, there in compared_with(session, runtime().library, checked)]
        return render_template(
            "staff/library/text_check.html",
            checked=checked,
            carried=base64.urlsafe_b64encode(data).decode("ascii"),
            current=current,
            already=current is not None and current.sha256 == checked.sha256,
            beside=beside,
            typed=typed,
            field_labels=LABELS,
            address=address,
            language=words.language,
            direction_of=direction_of,
        )


def _beside(checked: CheckedText, name: str, there: Document) -> Beside:
    return Beside(name, there["language"], difference(checked.definition, there, checked.document))


def _wrong_file(problems: list[str]) -> Response:
    said = [problem if problem.endswith((".", "…")) else f"{problem}." for problem in problems]
    return make_response(texts_page(Typed({}, {"file": said})), 422)


def _carried() -> bytes:
    """The file's bytes as the page carried them."""
    try:
        return base64.b64decode(request.form.get("carried", ""), altchars=b"-_", validate=True)
    except ValueError:  # of base64 itself, or signs that are none of ASCII
        abort(400)
