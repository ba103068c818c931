"""Two records of one person made one: found, looked at before anything is done, and undone."""

from flask import abort, render_template, request, url_for
from sqlalchemy import select
from sqlalchemy.orm import Session
from werkzeug.wrappers import Response as AnyResponse

from server.clinic.contradiction import Contradiction
from server.clinic.merge import merge
from server.clinic.merge_plan import MergePlan, plan_merge
from server.clinic.merge_since import WHOSE, entered_since
from server.clinic.merge_undo import undo_merge
from server.fields.check import EntryRefused
from server.fields.field import Errors
from server.fields.operation_words import OPERATION_KINDS
from server.fields.person import CONSENT_KINDS, WITHDRAWAL_EXTENTS
from server.links.make import follow_end
from server.models import Patient, PatientMerge
from server.queries.current import kept_record, lock_records
from server.staff.mending.acts import Shown, act, is_ticked, mend, show
from server.staff.mending.in_both import in_both
from server.staff.mending.said_since import said
from server.staff.page import words
from server.staff.page.edit_form import row_to_change
from server.staff.page.request_context import request_context, runtime, signed_in
from server.staff.page.staff_names import staff_names
from server.words.phrase import phrase

LIKE = {
    "same": phrase("Names and birth date are alike: probably one person."),
    "twin": phrase("The same birth date and family name, another first name: perhaps twins."),
    "contact": phrase("They share a telephone number or an e-mail address, and nothing else: perhaps a couple."),
    None: phrase("Names and birth dates are not alike."),
}


def same_person_page(patient_id: int) -> str:
    return show(patient_id, _page)


def merge_records(patient_id: int) -> AnyResponse:
    """The record of the page is kept; the other becomes its alias."""

    def lock_both(session: Session) -> None:
        other = _other(session, patient_id)
        lock_records(session, [patient_id, *([other.id] if other else [])])
        patient = session.get(Patient, patient_id)
        if patient is not None and patient.merged_into_id is not None:
            names = {"gone": patient.study_number, "kept": kept_record(session, patient).study_number}
            raise Contradiction(
                words.gettext("%(gone)s was made one with %(kept)s meanwhile. This is its page.") % names
            )

    def change(session: Session, patient: Patient) -> list[Patient]:
        other = _other(session, patient.id)
        if other is None:
            raise EntryRefused({"other": [words.gettext("Enter the study number of the other record.")]})
        if not is_ticked("sure"):
            raise EntryRefused({"sure": [words.gettext("Look at both, and tick that they are one person.")]})
        plan = plan_merge(session, patient, other)
        merge(session, plan, act("merge"), runtime().keys, other_birth_year=is_ticked("other_birth_year"))
        follow_end(session, patient, now=request_context().now, by_id=signed_in().id)
        return []

    return mend(patient_id, change, page=_page, done="merged", form="merge", before=lock_both)


def undo(patient_id: int, merge_id: int) -> AnyResponse:
    """They were two people after all. Of each fact that was entered of the person since, somebody has said whose it is."""
    form = f"undo-{merge_id}"

    def change(session: Session, patient: Patient) -> list[Patient]:
        row = row_to_change(session, PatientMerge, merge_id)
        if row is None or row.kept_id != patient.id:
            abort(404)
        undo_merge(session, row, act(form), runtime().keys, _whose(session, row, form))
        both = [patient, session.get_one(Patient, row.alias_id)]
        for each in both:
            follow_end(session, each, now=request_context().now, by_id=signed_in().id)
        return both

    to = url_for("staff.patient", patient_id=patient_id, done="merge-undone")
    return mend(
        patient_id,
        change,
        page=_page,
        done="merge-undone",
        form=form,
        to=to,
        before=lambda session: lock_records(session, [patient_id]),
    )


def _whose(session: Session, row: PatientMerge, form: str) -> dict[str, str]:
    """Raises EntryRefused for what was entered after the page was opened: nothing is given to anybody unasked."""
    facts = [each.fact for each in entered_since(session, row)] if row.undone_at is None else []
    chosen = {fact: request.form.get(f"{form}-{fact}", "") for fact in facts}
    unasked = words.gettext("This was entered meanwhile. Say whose it is.")
    missing: Errors = {f"{form}-{fact}": [unasked] for fact, whose in chosen.items() if whose not in WHOSE}
    if missing:
        raise EntryRefused(missing)
    return chosen


def _other(session: Session, patient_id: int) -> Patient | None:
    number = (request.values.get("other") or "").strip()
    wanted = select(Patient).where(Patient.study_number == number, Patient.id != patient_id)
    return session.scalars(wanted).one_or_none() if number else None


def _page(session: Session, patient: Patient, shown: Shown) -> str:
    other = _other(session, patient.id)
    plan: MergePlan | None = plan_merge(session, patient, other) if other else None
    made = select(PatientMerge).where(PatientMerge.kept_id == patient.id).order_by(PatientMerge.id.desc())
    merges = list(session.scalars(made))
    return render_template(
        "staff/mending/same_person.html",
        patient=patient,
        other=other,
        asked_for=request.values.get("other", "")[:20],
        plan=plan,
        like=LIKE[plan.likeness if plan else None],
        ends=_ends(plan) if plan else [],
        kinds=OPERATION_KINDS,
        consent_kinds=CONSENT_KINDS,
        merges=merges,
        since={row.id: said(entered_since(session, row), patient) for row in merges if row.undone_at is None},
        in_both=in_both(plan) if plan else [],
        shown=shown,
        staff=staff_names(session),
        moment=lambda at: words.moment(at, request_context().time_zone),
    )


def _ends(plan: MergePlan) -> list[str]:
    """What the kept record takes over from the other, in words."""
    found, ends = [], plan.ends
    if "died_on" in ends:
        found.append(words.gettext("the death"))
    if "withdrew_on" in ends or "messages_stopped_on" in ends or "withdrawal_extent" in ends:
        extent = ends.get("withdrawal_extent") or plan.kept.withdrawal_extent or "contact"
        found.append(
            words.gettext("the withdrawal: %(extent)s") % {"extent": words.say(WITHDRAWAL_EXTENTS[str(extent)])}
        )
    if "capacity_lost_on" in ends:
        found.append(words.gettext("that the patient can no longer decide"))
    return found
