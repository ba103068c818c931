"""The numbers under which hospitals know a patient: added, corrected, taken away from the wrong person."""

from flask import abort, render_template, request, url_for
from sqlalchemy.orm import Session
from werkzeug.wrappers import Response as AnyResponse

from server.clinic import hospital_numbers
from server.clinic.history import read_changes
from server.fields.check import EntryRefused
from server.fields.person import HOSPITAL_NUMBER
from server.fields.stored import in_form
from server.models import HospitalNumber, Patient
from server.staff.mending.acts import Shown, mend, read, show, the_reason
from server.staff.page import words
from server.staff.page.edit_form import as_sent, row_to_change
from server.staff.page.request_context import request_context, runtime, signed_in
from server.staff.page.staff_names import staff_names

HISTORY_SHOWN = 40


def numbers_page(patient_id: int) -> str:
    return show(patient_id, _page)


def add(patient_id: int) -> AnyResponse:
    def change(session: Session, patient: Patient) -> None:
        entry = read(HOSPITAL_NUMBER, request.form)
        values = {name: entry[name] for name in entry}
        hospital_numbers.add_number(
            session, patient, values, _key(session), now=request_context().now, by_id=signed_in().id
        )

    return mend(patient_id, change, page=_page, done="number-added", form="add", to=_here(patient_id, "number-added"))


def change_number(patient_id: int, number_id: int) -> AnyResponse:
    """Corrected, or taken away because it is another person's; the reason and the old number stay in the history."""
    form = f"number-{number_id}"

    def change(session: Session, patient: Patient) -> None:
        row = row_to_change(session, HospitalNumber, number_id)
        if row is None or row.patient_id != patient.id or row.removed_at is not None:
            abort(404)
        prefix = f"{form}-"
        kept = in_form(HOSPITAL_NUMBER, row, prefix=prefix)
        typed = as_sent(session, request.form, kept, HOSPITAL_NUMBER, [row], prefix=prefix)
        now, by_id = request_context().now, signed_in().id
        if request.form.get("what") == "remove":
            hospital_numbers.remove_number(session, row, now=now, by_id=by_id, why=the_reason(form))
            return
        entry = read(HOSPITAL_NUMBER, typed, prefix=prefix)
        values = {name: entry[name] for name in entry}
        try:
            hospital_numbers.correct_number(
                session, row, values, _key(session), now=now, by_id=by_id, why=the_reason(form)
            )
        except EntryRefused as problem:
            errors = {
                name if name == f"{form}-why" else f"{prefix}{name}": found for name, found in problem.errors.items()
            }
            raise EntryRefused(errors) from problem

    return mend(patient_id, change, page=_page, done="mended", form=form, to=_here(patient_id))


def _key(session: Session) -> bytes:
    try:
        return hospital_numbers.key_of(session, runtime().keys)
    except LookupError as problem:
        lost = words.gettext(
            "The key of the hospital numbers is not in the key folder. Nothing is saved; tell the data manager."
        )
        raise EntryRefused({"number": [lost]}) from problem


def _here(patient_id: int, done: str = "mended") -> str:
    return url_for("staff.numbers", patient_id=patient_id, done=done)


def _page(session: Session, patient: Patient, shown: Shown) -> str:
    rows = hospital_numbers.numbers_of(session, patient)
    every = session.query(HospitalNumber.id).filter(HospitalNumber.patient_id == patient.id).all()
    history = read_changes(session, [("hospital_number", row.id) for row in every], most=HISTORY_SHOWN) if every else []
    return render_template(
        "staff/mending/numbers.html",
        patient=patient,
        shown=shown,
        shown_of={row.id: shown.of(f"number-{row.id}") for row in rows},
        kept={row.id: in_form(HOSPITAL_NUMBER, row, prefix=f"number-{row.id}-") for row in rows},
        rows=rows,
        fields=HOSPITAL_NUMBER,
        history=history,
        staff=staff_names(session),
        moment=lambda at: words.moment(at, request_context().time_zone),
    )
