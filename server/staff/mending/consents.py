"""Consents of a patient: given, withdrawn, corrected, set aside; asked again at majority; and who decides once the patient cannot."""

from collections.abc import Iterable
from dataclasses import dataclass

from flask import abort, render_template, request, url_for
from sqlalchemy.orm import Session
from werkzeug.wrappers import Response as AnyResponse

from server.clinic import answered_for, consents
from server.clinic.agreed_text import IN_FORCE, NOTICE, OFFERED, TYPED, offered_texts
from server.clinic.contradiction import refuse_if
from server.clinic.entries import CONSENT_VERSION
from server.clinic.history import read_changes
from server.clinic.majority import of_age_on, to_ask_again
from server.fields.check import EntryRefused
from server.fields.field import Field, named
from server.fields.person import CAPACITY, CONSENT, CONSENT_KINDS, PRIVACY
from server.fields.stored import in_form
from server.models import Clinic, Consent, Patient, Response, Timepoint
from server.models.response import FOR_THE_PATIENT
from server.queries.clinic_notices import NoticeVersion, in_force_on, notice_versions
from server.queries.clock import the_clinic
from server.queries.facts import withdrew
from server.staff.mending.acts import Shown, act, is_ticked, mend, read, show, the_reason
from server.staff.page import words
from server.staff.page.edit_form import as_sent, row_to_change
from server.staff.page.request_context import request_context, signed_in
from server.staff.page.staff_names import staff_names
from server.staff.page.which_text import TYPED_VERSION, which_text
from server.words import labels

GIVING = tuple(named(CONSENT, name) for name in ("kind", "given_on", "given_by", "given_by_name"))
BY = named(CONSENT, "given_by").words
CHANGED = tuple(field for field in CONSENT if field.name not in ("kind", "version"))
HISTORY_SHOWN = 60


@dataclass(frozen=True)
class AskedAbout:
    """Answers since the patient cannot decide. `said`: who gave them, as recorded; `was`: what the page showed, for two people at once."""

    response: Response
    name: str
    title: str
    said: str
    was: str
    ticked: bool


def consents_page(patient_id: int) -> str:
    return show(patient_id, _page)


def give(patient_id: int) -> AnyResponse:
    """A consent given now or on an earlier day, by the patient, a parent or a representative."""

    def change(session: Session, patient: Patient) -> None:
        entry = read((TYPED_VERSION, *GIVING), request.form, born=patient.birth_on)
        # A page that was shown before the first text of all offered no choice.
        values = {**entry, NOTICE: request.form.get(NOTICE) or IN_FORCE}
        offered = request.form.get(f"{OFFERED}_{entry['kind']}")
        consents.give_consent(session, patient, values, the_clinic(session), offered=offered, **_now())  # type: ignore[arg-type]

    return mend(patient_id, change, page=_page, done="consent", form="give", to=_here(patient_id))


def change_consent(patient_id: int, consent_id: int) -> AnyResponse:
    """Withdrawn or put right, with the reason; or set aside, when it was entered by mistake."""
    form = f"consent-{consent_id}"

    def change(session: Session, patient: Patient) -> None:
        consent = row_to_change(session, Consent, consent_id)
        if consent is None or consent.patient_id != patient.id:
            abort(404)
        prefix, fields = f"{form}-", _changed(session, consent)
        typed = as_sent(session, request.form, _kept(fields, consent), fields, [consent], prefix=prefix)
        if request.form.get("what") == "mistake":
            now, by_id = request_context().now, signed_in().id
            consents.set_consent_aside(session, consent, why=the_reason(form), now=now, by_id=by_id)
            return
        entry = read((TYPED_VERSION, *CHANGED), typed, born=patient.birth_on, prefix=prefix)
        values = {**entry, NOTICE: typed.get(f"{prefix}{NOTICE}")}
        why = the_reason(form)
        try:
            consents.correct_consent(session, consent, values, the_clinic(session), why=why, **_now())  # type: ignore[arg-type]
        except EntryRefused as problem:
            raise EntryRefused({f"{prefix}{name}": found for name, found in problem.errors.items()}) from problem

    return mend(patient_id, change, page=_page, done="consent", form=form, to=_here(patient_id))


def capacity(patient_id: int) -> AnyResponse:
    """Since when the patient cannot decide, who does, and whether questionnaires stop."""

    def change(session: Session, patient: Patient) -> None:
        typed = as_sent(session, request.form, in_form(CAPACITY, patient), CAPACITY, [patient])
        entry = read(CAPACITY, typed, born=patient.birth_on)
        values = {name: entry[name] for name in entry}
        consents.change_capacity(session, patient, values, why=the_reason("capacity"), **_now())  # type: ignore[arg-type]

    return mend(patient_id, change, page=_page, done="mended", form="capacity", to=_here(patient_id, "capacity"))


def say_who_answered(patient_id: int) -> AnyResponse:
    """Of answers since the patient cannot decide: which of them somebody else gave. Each that is said otherwise is put right."""

    def change(session: Session, patient: Patient) -> None:
        doing = act("answered")
        for response in answered_for.in_question(session, patient):
            name, is_other = _tick(response), response.answered_by == FOR_THE_PATIENT
            refuse_if(
                request.form.get(f"was-{name}") != str(is_other),
                words.gettext("Somebody else has put these answers right meanwhile. Look at them again."),
            )
            if is_ticked(name) and not is_other:
                answered_for.answered_for(session, response, doing)
            elif is_other and not is_ticked(name):
                answered_for.own_again(session, response, doing)

    return mend(patient_id, change, page=_page, done="mended", form="answered", to=_here(patient_id, "mended"))


def _tick(response: Response) -> str:
    return f"answered-{response.id}"


def _asked_about(session: Session, patient: Patient, shown: Shown) -> list[AskedAbout]:
    """The answers of which a person says who gave them; as they were ticked when something was wrong."""
    found = []
    for response in answered_for.in_question(session, patient):
        timepoint = session.get_one(Timepoint, response.timepoint_id)
        side = words.say(labels.SHOULDER[timepoint.follow_up.operation.shoulder.side])
        is_other = response.answered_by == FOR_THE_PATIENT
        ticked = bool(shown.values.get(_tick(response))) if shown.values else is_other
        said = words.say(labels.ANSWERED_BY[response.answered_by])
        title = f"{side}, {words.timepoint(timepoint.code)}"
        found.append(AskedAbout(response, _tick(response), title, said, str(is_other), ticked))
    return found


def _now() -> dict[str, object]:
    return {"now": request_context().now, "today": request_context().today, "by_id": signed_in().id}


def _here(patient_id: int, done: str = "consent") -> str:
    return url_for("staff.consents", patient_id=patient_id, done=done)


def _changed(session: Session, consent: Consent) -> tuple[Field, ...]:
    """The fields of a correction; the text is chosen where the clinic has some of the kind."""
    return *which_text(session, (consent.kind,), in_force=False), *CHANGED


def _kept(fields: Iterable[Field], consent: Consent) -> dict[str, str]:
    """What the inputs of a correction show."""
    prefix = f"consent-{consent.id}-"
    own = [each for each in fields if each.name != NOTICE]
    shown = in_form(own, consent, prefix=prefix)
    if len(own) < len(list(fields)):
        shown[f"{prefix}{NOTICE}"] = str(consent.notice_id or TYPED)
    if consent.notice_id is not None:
        shown[f"{prefix}{TYPED_VERSION.name}"] = ""
    return shown


def _privacy_of(session: Session, patient: Patient, clinic: Clinic) -> dict[int, NoticeVersion]:
    """By consent, the privacy notice that was in force when it was given."""
    versions = notice_versions(session, PRIVACY)
    found = {each.id: in_force_on(versions, PRIVACY, each.given_on, clinic) for each in patient.consents}
    return {consent_id: version for consent_id, version in found.items() if version is not None}


def _page(session: Session, patient: Patient, shown: Shown) -> str:
    clinic, today = the_clinic(session), request_context().today
    of_age = of_age_on(patient, clinic)
    kind, *others = GIVING
    text = which_text(session, tuple(CONSENT_KINDS), in_force=True)
    changed = {each.id: _changed(session, each) for each in patient.consents}
    new = {
        NOTICE: IN_FORCE,
        "version": CONSENT_VERSION if len(text) == 1 else "",
        "given_on": today.isoformat(),
        "given_by": "self" if today >= of_age else "parent",
    }
    given = shown.of("give").values
    asked_about = _asked_about(session, patient, shown.of("answered"))
    rows = [("patient", patient.id), *(("consent", each.id) for each in patient.consents)]
    rows += [("response", each.response.id) for each in asked_about]
    shown_of = {each.id: shown.of(f"consent-{each.id}") for each in patient.consents}
    return render_template(
        "staff/mending/consents.html",
        patient=patient,
        shown=shown,
        shown_of=shown_of,
        kept={each.id: _kept(changed[each.id], each) for each in patient.consents},
        kinds=labels.NOTICE,
        by_words=BY,
        giving=(kind, *text, *others),
        offered=offered_texts(session) | {name: sent for name, sent in given.items() if name.startswith(OFFERED)},
        changed=changed,
        privacy=_privacy_of(session, patient, clinic),
        new=new,
        capacity=CAPACITY,
        capacity_kept=in_form(CAPACITY, patient),
        asked_about=asked_about,
        of_age=of_age,
        is_child=today < of_age,
        withdrawn=withdrew(patient),
        again=to_ask_again(patient, clinic, today),
        history=[
            each for each in read_changes(session, rows, most=HISTORY_SHOWN) if _is_about_this(each.row[0], each.field)
        ],
        staff=staff_names(session),
        moment=lambda at: words.moment(at, request_context().time_zone),
    )


def _is_about_this(table: str, field: str) -> bool:
    return table == "consent" or field == answered_for.FIELD or field in {each.name for each in CAPACITY}
