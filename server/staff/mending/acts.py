"""What every page of this room shares: one write transaction with due sheets published, and the page again with what was typed."""

from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, field
from datetime import date

from flask import abort, make_response, redirect, request, url_for
from sqlalchemy.orm import Session
from werkzeug.wrappers import Response as AnyResponse

from server.clinic.contradiction import Contradiction
from server.clinic.misplaced import Act, Reader
from server.fields.change import WHY
from server.fields.check import Calendar, CheckedEntry, EntryRefused, check_values, checked
from server.fields.field import Errors, Field
from server.fields.read_form import one_line, read_form
from server.links.publish import publish_sheet
from server.models import Patient
from server.staff.page import words
from server.staff.page.database import reading, writing
from server.staff.page.edit_form import ChangedMeanwhile, OthersChange, chosen, row_to_change
from server.staff.page.request_context import request_context, runtime, signed_in

Page = Callable[[Session, Patient, "Shown"], str]


@dataclass(frozen=True)
class Shown:
    """What a page shows of what was sent: which of its forms, what was typed, what is wrong, what somebody else changed."""

    form: str = ""
    values: Mapping[str, str] = field(default_factory=dict)
    errors: Errors = field(default_factory=dict)
    meanwhile: list[OthersChange] = field(default_factory=list)

    def of(self, form: str) -> "Shown":
        """This, if it is about that form of the page; otherwise nothing."""
        return self if self.form == form else Shown()


def show(patient_id: int, page: Page, shown: Shown | None = None) -> str:
    with reading() as session:
        return page(session, the_patient(session, patient_id), shown or Shown())


def mend(
    patient_id: int,
    change: Callable[[Session, Patient], Iterable[Patient] | None],
    *,
    page: Page,
    done: str,
    form: str = "",
    to: str = "",
) -> AnyResponse:
    """Runs `change` and publishes the due sheets of the patient and of others it names. On a problem nothing is saved.

    Goes to `to`, or to the patient's page.
    """
    try:
        with writing() as session:
            patient = row_to_change(session, Patient, patient_id)
            if patient is None or patient.merged_into_id is not None:
                abort(404)
            others = change(session, patient)
            session.flush()
            for each in (patient, *(others or ())):
                publish(session, each)
    except ChangedMeanwhile as problem:
        return _again(patient_id, page, Shown(form, problem.values, meanwhile=problem.changes))
    except (EntryRefused, Contradiction) as problem:
        return _again(patient_id, page, Shown(form, chosen(request.form), problem.errors))
    return redirect(to or url_for("staff.patient", patient_id=patient_id, done=done))


def _again(patient_id: int, page: Page, shown: Shown) -> AnyResponse:
    return make_response(show(patient_id, page, shown), 422)


def the_patient(session: Session, patient_id: int) -> Patient:
    patient = session.get(Patient, patient_id)
    if patient is None or patient.merged_into_id is not None:
        abort(404)
    return patient


def publish(session: Session, patient: Patient) -> None:
    publish_sheet(session, patient, library=runtime().library, now=request_context().now, today=request_context().today)


def read(
    fields: tuple[Field, ...], form: Mapping[str, str], *, born: date | None = None, prefix: str = ""
) -> CheckedEntry:
    """Read and checked by their table. Raises EntryRefused with every error, by the names of the form."""
    values, unreadable = read_form(fields, form, prefix=prefix)
    calendar = Calendar(request_context().today, born)
    errors = {**check_values(fields, values, calendar, prefix=prefix), **unreadable}
    if errors:
        raise EntryRefused(errors)
    return checked(fields, values, calendar)


def the_reason(form: str = "") -> str:
    """Why something is put right: never empty here. Of a page with several forms each has its own. Raises EntryRefused."""
    name = f"{form}-why" if form else "why"
    if not one_line(request.form.get(name, "")):
        raise EntryRefused({name: [words.gettext("Write why. Whoever reads this in ten years relies on it.")]})
    return read((WHY,), request.form, prefix=name.removesuffix("why")).text("why") or ""


def act(form: str = "") -> Act:
    return Act(the_reason(form), request_context().now, request_context().today, signed_in().id)


def reader() -> Reader:
    return Reader(runtime().keys, runtime().library)


def is_ticked(name: str) -> bool:
    return bool(request.form.get(name))
