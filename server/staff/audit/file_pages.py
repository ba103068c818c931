"""The door to a person's whole file, as PDF or JSON, and the page that says what erasing means until it is built."""

import json
from importlib.resources import files

from flask import Response, abort, g, make_response, render_template, request, url_for

from server.models import Patient
from server.outcomes.figures.print import typeset
from server.staff.audit.file_paper import paper_of
from server.staff.audit.patient_file import file_of
from server.staff.page.database import reading, writing
from server.staff.page.request_context import request_context, runtime, signed_in
from server.trust.audit import audit
from server.words.language import Words

TYPES = {"pdf": "application/pdf", "json": "application/json"}


def patient_file(patient_id: int) -> str:
    """What the file holds, and the two forms of it."""
    with reading() as session:
        patient = session.get(Patient, patient_id)
        if patient is None:
            abort(404)
        language = Words("staff", patient.language).language
        return render_template("staff/audit/patient_file.html", patient=patient, language=language)


def take_patient_file(patient_id: int) -> Response:
    """The file itself. That it was taken, by whom and of whom, stands in the audit trail before it leaves.

    It is put together outside the write, since that of decades takes a while and nobody should wait for it.
    """
    kind, here, machine = request.form.get("as", ""), request_context(), runtime()
    if kind not in TYPES:
        abort(404)
    with reading() as session:
        patient = session.get(Patient, patient_id)
        if patient is None:
            abort(404)
        file = file_of(session, patient_id, machine, clinic=here.clinic_name, now=here.now)
        spoken = Words("staff", patient.language)
    made = _paper(file, spoken) if kind == "pdf" else _text(file)
    with writing() as session:
        thing = f"patient {patient_id}"
        audit(session, "patient:file_taken", thing, now=here.now, by_id=signed_in().id, kind=kind)
    response = make_response(made)
    response.mimetype = TYPES[kind]
    name = f"{file['study_numbers'][0]}-{here.today}.{kind}"
    response.headers["Content-Disposition"] = f'attachment; filename="{name}"'
    return response


def _text(file: dict[str, object]) -> bytes:
    return json.dumps(file, ensure_ascii=False, indent=1).encode("utf-8")


def _paper(file: dict[str, object], spoken: Words) -> bytes:
    """In the patient's language where there are words in it, so the request's own words are put aside for it."""
    mine, g.words = g.words, spoken
    try:
        page = paper_of(file, spoken.language)
    finally:
        g.words = mine
    source = (files("server.staff.audit") / "patient_file.typ").read_bytes()
    return typeset(source, {"file": json.dumps(page)}, "pdf", request_context().now)


def erasure() -> str:
    """What the data protection officer decides, what can be done by hand today, and what cannot."""
    return render_template("staff/audit/erasure.html", people=url_for("staff.patients", state="erasure"))
