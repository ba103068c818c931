"""A plan from a file: checked and shown first, then installed as it was shown."""

import base64

from flask import Response, abort, make_response, redirect, render_template, request, url_for
from werkzeug.wrappers import Response as AnyResponse

from server.staff.library.plans import calls_of, wrong_file
from server.staff.page.database import reading, writing
from server.staff.page.request_context import request_context, runtime, signed_in
from server.timepoints.plan_file import LONGEST_BYTES, PlanFileProblem
from server.timepoints.plan_install import PlanRefused, check_for_clinic, install_plan, known_already
from server.timepoints.plan_table import plan_table


def check_plan() -> Response:
    """An uploaded file: what it would ask when, or what is wrong with it."""
    upload = request.files.get("file")
    data = upload.stream.read(LONGEST_BYTES + 1) if upload else b""
    library = runtime().library
    try:
        with reading() as session:
            checked = check_for_clinic(session, data, library, stated_sha256=request.form.get("sha256", ""))
            already = known_already(session, checked, library)
    except (PlanFileProblem, PlanRefused) as problem:
        return wrong_file(problem)
    page = render_template(
        "staff/library/plan_check.html",
        checked=checked,
        carried=base64.urlsafe_b64encode(data).decode("ascii"),
        already=already,
        lines=plan_table(checked.plan, library),
        calls=calls_of(checked.plan, library),
    )
    return make_response(page)


def install() -> AnyResponse:
    """The bytes that were shown, by their hash, checked once more."""
    data, shown = _carried(), request.form.get("sha256", "")
    if not shown:
        abort(400)
    try:
        with writing() as session:
            checked = check_for_clinic(session, data, runtime().library, stated_sha256=shown)
            install_plan(session, checked, runtime().library, now=request_context().now, by_id=signed_in().id)
    except (PlanFileProblem, PlanRefused) as problem:
        return wrong_file(problem)
    return redirect(url_for("staff.plans", done="plan-installed"))


def _carried() -> bytes:
    try:
        return base64.b64decode(request.form.get("carried", ""), altchars=b"-_", validate=True)
    except ValueError:  # of base64 itself, or signs that are none of ASCII
        abort(400)
