"""Name, sex, language, time zone and ways of contact, put right."""

from collections.abc import Mapping

from flask import render_template, request
from sqlalchemy.orm import Session
from werkzeug.wrappers import Response as AnyResponse

from server.clinic.checks import check_details
from server.clinic.history import change_row, read_changes
from server.fields.change import WHY
from server.fields.check import EntryRefused
from server.fields.person import PERSON
from server.fields.stored import in_form, stored_values
from server.models import Patient
from server.staff.mending.acts import Shown, mend, read, show, the_reason
from server.staff.page import words
from server.staff.page.edit_form import as_sent
from server.staff.page.request_context import request_context, signed_in
from server.staff.page.staff_names import staff_names
from server.trust.audit import audit
from server.words.phrase import phrase

DETAILS = tuple(
    field for field in PERSON if field.name in ("first_name", "last_name", "sex", "language", "time_zone", "channel_order")
)  # fmt: skip
HISTORY_SHOWN = 40
PLACES = (
    phrase("First by"),
    phrase("If that is not possible, by"),
    phrase("Then by"),
    phrase("Last by"),
)  # of the ways of contact


def details(patient_id: int) -> str:
    return show(patient_id, _page)


def save_details(patient_id: int) -> AnyResponse:
    """Saves what was changed, with the reason; what somebody else changed meanwhile is shown first."""

    def change(session: Session, patient: Patient) -> None:
        form = {**request.form, "channel_order": _ways(request.form)}
        typed = as_sent(session, form, in_form(DETAILS, patient), DETAILS, [patient])
        entry = read(DETAILS, typed)
        errors = check_details(session, {**in_form_values(patient), **entry})
        if errors:
            raise EntryRefused(errors)
        now, by_id = request_context().now, signed_in().id
        changed = change_row(session, patient, stored_values(DETAILS, entry), now=now, by_id=by_id, why=the_reason())
        audit(session, "patient:details_corrected", f"patient {patient.id}", now=now, by_id=by_id, fields=changed)

    return mend(patient_id, change, page=_page, done="mended")


def _ways(form: Mapping[str, str]) -> str:
    """The ways of contact in the order in which they were chosen, each once."""
    chosen = (form.get(f"way-{number}", "") for number in range(1, len(PLACES) + 1))
    return ",".join(dict.fromkeys(way for way in chosen if way))


def in_form_values(patient: Patient) -> dict[str, str | None]:
    """What the ways of contact lead to."""
    return {"email": patient.email, "phone": patient.phone, "address": patient.address}


def _page(session: Session, patient: Patient, shown: Shown) -> str:
    kept = in_form(DETAILS, patient)
    return render_template(
        "staff/mending/details.html",
        patient=patient,
        fields=DETAILS,
        kept=kept,
        values={"channel_order": _ways(shown.values), **shown.values} if shown.values else kept,
        shown=shown,
        labels_here={"why": WHY.label, **{field.name: field.label for field in PERSON}},
        places=PLACES,
        history=read_changes(session, [("patient", patient.id)], most=HISTORY_SHOWN),
        staff=staff_names(session),
        moment=lambda at: words.moment(at, request_context().time_zone),
    )
