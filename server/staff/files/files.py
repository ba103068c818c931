"""Files that leave the clinic: an export made on the spot and downloaded whole."""

import tempfile
from collections.abc import Mapping
from pathlib import Path
from types import MappingProxyType

from flask import Response, make_response, render_template
from sqlalchemy import func, select
from sqlalchemy.orm import Session

from server.exports import ExportProblem, KeysMissing, export_set
from server.exports.zipped import zipped
from server.installation.data_lock import locks
from server.models import ClinicFinding, FollowUp, Operation, Patient, Shoulder, Timepoint
from server.models import Response as Answered
from server.queries.current import COUNTED, STANDS
from server.staff.page import words
from server.staff.page.database import reading
from server.staff.page.request_context import request_context, runtime, signed_in
from server.staff.page.staff_names import staff_names
from server.words.phrase import phrase

CONTENTS = (
    ("long.csv", phrase("one row for each form, each answer and each score, with the reason where one is missing")),
    (
        "wide.csv",
        phrase(
            "one row for each operation, its scores side by side by timepoint, and for each instrument whether its text was the owner's"
        ),
    ),
    ("operations.csv", phrase("one row for each operation, with diagnosis, implant and dates")),
    (
        "schedule.csv",
        phrase(
            "one row for each operation and planned timepoint: window, state, why and since when, messages and calls"
        ),
    ),
    (
        "events.csv",
        phrase("what happened to a shoulder, how sure it is, what was done, and a grade that names its scheme"),
    ),
    ("findings.csv", phrase("one row for each visit: motion, strength and radiographs")),
    (
        "components.csv",
        phrase("one row for each component of an implant: where it was put in and taken out, lot, serial number"),
    ),
    (
        "log.csv",
        phrase(
            "every operation counted by year, side, procedure, implant type and surgeon, enrolled or not, and why not"
        ),
    ),
    ("flow.csv", phrase("from operated to analysed at each timepoint: how many, and every loss with its reason")),
    (
        "thresholds.csv",
        phrase("every published threshold of these scores: in whom it was found, and for which shoulders pages use it"),
    ),
    (
        "codebook.csv",
        phrase(
            "what every column and every code means, the windows of the plan, and where a score's method comes from"
        ),
    ),
    ("read.R", phrase("reads the files into R, with types and labels")),
    ("read.py", phrase("the same for Python")),
    ("read.sps", phrase("the same for SPSS; tried in PSPP")),
    ("read.do", phrase("the same for Stata; nobody has run it yet")),
    ("manifest.json", phrase("which files there are, their rows and SHA-256 sums, and how complete the answers are")),
)


def files(
    problem: str = "",
    *,
    typed: Mapping[str, str] = MappingProxyType({}),
    errors: Mapping[str, list[str]] = MappingProxyType({}),
) -> str:
    """`typed` and `errors`: of a data lock that was not made."""
    with reading() as session:
        staff = staff_names(session)
        locked = [
            (lock, words.at_and_by(words.moment(lock.made_at, request_context().time_zone), lock.made_by_id, staff))
            for lock in locks(session)
        ]
        return render_template(
            "staff/files/files.html",
            counts=_counts(session),
            contents=CONTENTS,
            problem=problem,
            locked=locked,
            typed=typed,
            errors=errors,
        )


def _counts(session: Session) -> dict[str, int]:
    """What stands in this clinic: nothing of duplicates' aliases, and nothing that was entered in error."""
    patients = select(func.count(Patient.id)).where(COUNTED)
    operations = select(func.count(Operation.id)).join(Shoulder).join(Patient).where(STANDS, COUNTED)
    forms = (
        select(func.count(Answered.id))
        .join(Patient, Patient.id == Answered.patient_id)
        .outerjoin(Timepoint, Timepoint.id == Answered.timepoint_id)  # of a form at a visit there is none
        .outerjoin(FollowUp, FollowUp.id == Timepoint.follow_up_id)
        .outerjoin(Operation, Operation.id == FollowUp.operation_id)
        .outerjoin(ClinicFinding, ClinicFinding.id == Answered.finding_id)
        .where(Answered.counted, COUNTED, STANDS, ClinicFinding.taken_back_at.is_(None))
    )
    wanted = {"patients": patients, "operations": operations, "forms": forms}
    return {name: session.scalar(query) or 0 for name, query in wanted.items()}


def download() -> Response:
    """The export notes itself in the audit trail before the file leaves."""
    machine = runtime()
    with tempfile.TemporaryDirectory(prefix="yearmark-export-") as folder:
        out = Path(folder) / "yearmark"
        try:
            export_set(
                machine.store,
                machine.keys.patient_cipher,
                machine.library,
                out,
                now=request_context().now,
                by_id=signed_in().id,
            )
        except ExportProblem as problem:
            return not_written(problem)
        return zip_file(zipped(out), f"yearmark-{request_context().today}.zip")


def not_written(problem: ExportProblem) -> Response:
    """The page with what went wrong."""
    if isinstance(problem, KeysMissing):
        why = words.gettext(
            "Keys of patients are not in the key folder, so answers cannot be read. Nothing was written. "
            "The data manager brings the keys back from their backup."
        )
        return make_response(files(why), 503)
    why = words.gettext("The files could not be written; most likely the server's disk is full. Tell the data manager.")
    return make_response(files(why), 507)


def zip_file(content: bytes, name: str) -> Response:
    response = make_response(content)
    response.mimetype = "application/zip"
    response.headers["Content-Disposition"] = f'attachment; filename="{name}"'
    return response
