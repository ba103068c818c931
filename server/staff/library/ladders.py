"""The reminder ladders: which one is in force, since when and by whom; a file checked, shown, and installed as it was shown."""

import base64
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime

from flask import Response, abort, make_response, redirect, render_template, request, url_for
from werkzeug.wrappers import Response as AnyResponse

from server.reminders.ladder_install import (
    LONGEST_BYTES,
    LadderRefused,
    LadderUse,
    already_known,
    check_ladder_file,
    install_ladder,
    list_ladders,
    put_in_force,
)
from server.staff.page import words
from server.staff.page.database import reading, writing
from server.staff.page.request_context import request_context, signed_in
from server.staff.page.staff_names import staff_names
from server.words.ladders import ladder_classes, step_words


@dataclass(frozen=True)
class ShownLadder:
    """`installed` and `chosen`: when and by whom, in words; empty where that never was."""

    use: LadderUse
    installed: str
    chosen: str


def ladders() -> str:
    return ladders_page()


def ladders_page(*, file: Sequence[str] = (), choice: Sequence[str] = ()) -> str:
    """The ladders, with what was wrong with a file or with a choice."""
    with reading() as session:
        staff, found = staff_names(session), []
        for use in list_ladders(session):
            row, choice_row = use.installed, use.choice
            installed = _when(row.installed_at, row.installed_by_id, staff) if row else ""
            chosen = _when(choice_row.chosen_at, choice_row.chosen_by_id, staff) if choice_row else ""
            found.append(ShownLadder(use, installed, chosen))
        return render_template(
            "staff/library/ladders.html",
            ladders=found,
            ladder_classes=ladder_classes,
            step_words=step_words,
            wrong_file=file,
            wrong_choice=choice,
        )


def check_ladder() -> Response:
    """An uploaded file: its steps, or what is wrong with it."""
    upload = request.files.get("file")
    data = upload.stream.read(LONGEST_BYTES + 1) if upload else b""
    try:
        checked = check_ladder_file(data, stated_sha256=request.form.get("sha256", ""))
        with reading() as session:
            already = already_known(session, checked)
    except LadderRefused as problem:
        return _refused(problem)
    page = render_template(
        "staff/library/ladder_check.html",
        checked=checked,
        carried=base64.urlsafe_b64encode(data).decode("ascii"),
        already=already,
        ladder_classes=ladder_classes,
        step_words=step_words,
    )
    return make_response(page)


def install() -> AnyResponse:
    """The bytes that were shown, by their hash, checked once more."""
    data, shown = _carried(), request.form.get("sha256", "")
    if not shown:
        abort(400)
    try:
        checked = check_ladder_file(data, stated_sha256=shown)
        with writing() as session:
            install_ladder(session, checked, now=request_context().now, by_id=signed_in().id)
    except LadderRefused as problem:
        return _refused(problem)
    return redirect(url_for("staff.ladders", done="ladder-installed"))


def choose() -> AnyResponse:
    """Reminders go by the chosen ladder; when they cannot, nothing is changed and the page says why."""
    try:
        with writing() as session:
            put_in_force(session, request.form.get("ladder", ""), now=request_context().now, by_id=signed_in().id)
    except LadderRefused as problem:
        return make_response(ladders_page(choice=[f"{problem}."]), 422)
    return redirect(url_for("staff.ladders", done="ladder-chosen"))


def _refused(problem: Exception) -> Response:
    return make_response(ladders_page(file=[f"{problem}."]), 422)


def _when(at: datetime, by_id: int | None, staff: dict[int, str]) -> str:
    return words.at_and_by(words.moment(at, request_context().time_zone), by_id, staff)


def _carried() -> bytes:
    try:
        return base64.b64decode(request.form.get("carried", ""), altchars=b"-_", validate=True)
    except ValueError:  # of base64 itself, or signs that are none of ASCII
        abort(400)
