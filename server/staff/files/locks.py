"""A data lock: made on the page of files, shown, downloaded as it was locked, and compared with the present data."""

from flask import Response, abort, make_response, redirect, render_template, request, url_for
from werkzeug.wrappers import Response as AnyResponse

from server.exports import ExportProblem
from server.exports.compare import TableChange
from server.installation.data_lock import LockAltered, LockRefused, changes_since, content_of, make_lock, note_download
from server.models import DataLock
from server.staff.files.files import files, not_written, zip_file
from server.staff.page import words
from server.staff.page.database import reading, writing
from server.staff.page.request_context import request_context, runtime, signed_in
from server.staff.page.staff_names import staff_names


def make() -> AnyResponse:
    """Locks the data of this moment, or says on the page of files why not."""
    typed = {name: request.form.get(name, "") for name in ("name", "why")}
    try:
        made = make_lock(runtime(), typed["name"], typed["why"], by_id=signed_in().id)
    except LockRefused as problem:
        return make_response(files(typed=typed, errors={problem.about: [f"{words.sentence(str(problem))}."]}), 422)
    except ExportProblem as problem:
        return not_written(problem)
    return redirect(url_for("staff.data_lock", lock_id=made.id, done="locked"))


def data_lock(lock_id: int) -> str:
    return _page(lock_id)


def download(lock_id: int) -> Response:
    """The zip file as it was locked. The audit trail says so before it leaves."""
    machine = runtime()
    _found(lock_id)
    try:
        content = content_of(machine, lock_id)
    except LockAltered as problem:
        return make_response(_page(lock_id, problem=f"{problem}."), 500)
    with writing() as session:
        lock = session.get_one(DataLock, lock_id)
        note_download(session, lock, machine, by_id=signed_in().id)
        name = lock.name
    return zip_file(content, f"yearmark-{name}.zip")


def changes(lock_id: int) -> Response:
    """The present data against the locked files, table by table."""
    _found(lock_id)
    try:
        _as_of, found = changes_since(runtime(), lock_id, by_id=signed_in().id)
    except LockAltered as problem:
        return make_response(_page(lock_id, problem=f"{problem}."), 500)
    except ExportProblem as problem:
        return not_written(problem)
    return make_response(_page(lock_id, found=found))


def _found(lock_id: int) -> None:
    with reading() as session:
        if session.get(DataLock, lock_id) is None:
            abort(404)


def _page(lock_id: int, *, found: list[TableChange] | None = None, problem: str = "") -> str:
    with reading() as session:
        lock = session.get(DataLock, lock_id) or abort(404)
        moment = words.moment(lock.made_at, request_context().time_zone)
        made = words.at_and_by(moment, lock.made_by_id, staff_names(session))
        return render_template("staff/files/lock.html", lock=lock, made=made, found=found, problem=problem)
