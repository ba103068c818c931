"""The page that a patient takes home: the own answers over the years as a PDF, in the patient's language."""

import json
from datetime import UTC, datetime, time
from importlib.resources import files

from flask import Response, abort, make_response

from server.models import Patient
from server.outcomes.figures.print import typeset
from server.staff.page.database import writing
from server.staff.page.request_context import request_context, runtime, signed_in
from server.staff.patient.patient_record import read_record
from server.staff.patient.take_home_page import Reader, page_of
from server.trust.audit import audit
from server.words.language import Words
from server.words.phrase import Phrase, phrase


def why_no_page(patient: Patient) -> Phrase | None:
    """Why there is nothing to hand over; None where there is."""
    if patient.taken_back_at is not None:
        return phrase("No page to take home: enrolled in error.")
    if patient.died_on is not None:
        return phrase("No page to take home: the patient has died, or is said to have.")
    if patient.erased_at is not None:
        return phrase("No page to take home: the answers were erased.")
    if patient.withdrew_on is not None:
        return phrase("No page to take home: the patient withdrew.")
    return None


def language_of(patient: Patient) -> Words:
    """English where there is no catalogue of the patient's language."""
    return Words("patient", patient.language)


def take_home(patient_id: int) -> Response:
    """The PDF. That it was made, by whom and for whom, stands in the audit trail before it leaves."""
    here = request_context()
    with writing() as session:
        record = read_record(session, patient_id, today=here.today)
        if record is None or why_no_page(record.patient) is not None:
            abort(404)
        page = page_of(record, Reader(language_of(record.patient), here, runtime().library))
        thing = f"patient {record.patient.id}"
        audit(session, "patient:page_taken_home", thing, now=here.now, by_id=signed_in().id, language=page["language"])
    source = (files("server.staff.patient") / "take_home.typ").read_bytes()
    # The day and not the hour: the same answers give the same file all day long.
    made_at = datetime.combine(here.today, time(), UTC)
    made = typeset(source, {"page": json.dumps(page)}, "pdf", made_at, accessible=True)
    response = make_response(made)
    response.mimetype = "application/pdf"
    response.headers["Content-Disposition"] = f'attachment; filename="shoulder-{here.today}.pdf"'
    return response
