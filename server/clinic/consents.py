"""Consents: given, withdrawn, corrected, each by whom; and who decides once a patient cannot.

A consent that a parent gave holds until the patient is of age, and is asked for again then (majority.py). Which text was agreed to is said
by agreed_text.py: among the values of a consent `notice` is the choice of a Reading.
"""

from collections.abc import Mapping
from dataclasses import replace
from datetime import date, datetime

from sqlalchemy.orm import Session

from server.clinic.agreed_text import NOTICE, TYPED, AgreedText, Reading, agreed_text, text_in_words
from server.clinic.contradiction import refuse_if
from server.clinic.history import change_row, note_change
from server.clinic.majority import of_age_on, settle_what_was_asked, standing
from server.fields.check import Calendar, CheckedEntry, EntryRefused, checked
from server.fields.day_words import day_words
from server.fields.field import Errors, Value
from server.fields.person import CAPACITY, CONSENT
from server.fields.stored import stored_values
from server.models import Clinic, Consent, Patient
from server.queries.current import mark_sheets_stale
from server.queries.facts import death_by
from server.timepoints.restate import restate
from server.trust.audit import audit


def give_consent(
    session: Session,
    patient: Patient,
    values: Mapping[str, Value],
    clinic: Clinic,
    *,
    now: datetime,
    today: date,
    by_id: int,
    offered: str | None = None,
) -> Consent:
    """One that stands already is left as it is: it held until then. Without a `notice` the version is typed. Raises EntryRefused.

    `offered`: which version the page offered as the one in force, as a Reading has it.
    """
    entry = _checked(patient, values, clinic, today)
    text = agreed_text(session, clinic, _reading(patient, entry, str(values.get(NOTICE) or TYPED), offered))
    before = [each for each in standing(patient.consents) if each.kind == entry["kind"]]
    for each in before:
        if each.given_on >= (entry.day("given_on") or date.min):
            raise EntryRefused(
                {"given_on": [f"A consent to the same stands since {day_words(each.given_on)}. Correct that one."]}
            )
    if any(each.kind == entry["kind"] and each.given_on == entry["given_on"] for each in patient.consents):
        raise EntryRefused({"given_on": ["One to the same, given on that day, is recorded already. Correct that one."]})
    consent = Consent(**{**stored_values(CONSENT, entry), **vars(text)}, taken_by_id=by_id)
    patient.consents.append(consent)
    session.flush()
    note_change(session, consent, "kind", None, consent.kind, now=now, by_id=by_id)
    audit(
        session, "consent:given", f"patient {patient.id}", now=now, by_id=by_id, kind=consent.kind, by=consent.given_by
    )
    mark_sheets_stale(session, {patient.id})
    settle_what_was_asked(session, now=now, patient=patient, by_id=by_id)
    return consent


def correct_consent(
    session: Session,
    consent: Consent,
    values: Mapping[str, Value],
    clinic: Clinic,
    *,
    now: datetime,
    today: date,
    by_id: int,
    why: str,
) -> None:
    """Withdrawn, given back or put right; what stood before is in the history. Raises EntryRefused.

    Without a `notice` the text stays as it is, unless another version is typed. Who withdraws means every consent to the same, so earlier
    ones that stand end with it.
    """
    patient = session.get_one(Patient, consent.patient_id)
    entry = _checked(patient, {**values, "kind": consent.kind}, clinic, today)
    ends_now = consent.withdrawn_on is None and entry.day("withdrawn_on") is not None
    earlier = [each for each in standing(patient.consents) if each.kind == consent.kind and each.id != consent.id]
    text = _agreed_after_all(session, patient, consent, entry, clinic, values.get(NOTICE))
    after = {**stored_values(CONSENT, entry), "version": text.version}
    changed = change_row(session, consent, after, now=now, by_id=by_id, why=why)
    if text.notice_id != consent.notice_id:
        old, new = (text_in_words(session, each) for each in (consent.notice_id, text.notice_id))
        note_change(session, consent, "notice_id", old, new, now=now, by_id=by_id, why=why)
        consent.notice_id = text.notice_id
        changed.append("notice_id")
    if "withdrawn_on" in changed:
        consent.withdrawal_taken_by_id = by_id if consent.withdrawn_on else None
    end = {name: getattr(consent, name) for name in ("withdrawn_on", "withdrawn_by", "withdrawn_by_name")}
    for each in earlier if ends_now else ():
        change_row(session, each, end, now=now, by_id=by_id, why=why)
        each.withdrawal_taken_by_id = by_id
    audit(session, "consent:changed", f"consent {consent.id}", now=now, by_id=by_id, fields=changed)
    mark_sheets_stale(session, {patient.id})
    settle_what_was_asked(session, now=now, patient=patient, by_id=by_id)


def set_consent_aside(session: Session, consent: Consent, *, why: str, now: datetime, by_id: int) -> None:
    """It was entered by mistake: it counts for nothing from now on, and stays to be read."""
    refuse_if(consent.set_aside_at is not None, "This consent was already set aside.")
    consent.set_aside_at = now
    note_change(session, consent, "set_aside_at", None, now.date(), now=now, by_id=by_id, why=why)
    audit(session, "consent:set_aside", f"consent {consent.id}", now=now, by_id=by_id)
    mark_sheets_stale(session, {consent.patient_id})
    settle_what_was_asked(session, now=now, patient=session.get_one(Patient, consent.patient_id), by_id=by_id)


def change_capacity(
    session: Session,
    patient: Patient,
    values: Mapping[str, Value],
    *,
    now: datetime,
    today: date,
    by_id: int,
    why: str | None,
) -> None:
    """Since when the patient cannot decide, who does, and whether questionnaires stop; all empty where the patient decides.

    Raises EntryRefused.
    """
    entry = checked(CAPACITY, values, Calendar(today, patient.birth_on))
    given = [name for name in entry if entry[name] is not None]
    if given and len(given) < len(CAPACITY):
        missing: Errors = {
            name: ["Fill in all three, or leave all three empty."] for name in entry if entry[name] is None
        }
        raise EntryRefused(missing)
    changed = change_row(session, patient, stored_values(CAPACITY, entry), now=now, by_id=by_id, why=why)
    audit(session, "patient:capacity", f"patient {patient.id}", now=now, by_id=by_id, fields=changed)
    restate(session, patient, now=now, today=today, by_id=by_id)


def _agreed_after_all(
    session: Session, patient: Patient, consent: Consent, entry: CheckedEntry, clinic: Clinic, choice: Value
) -> AgreedText:
    """Of a correction. A text that stays is not checked again: a time zone that was corrected must not stand in the way of a withdrawal."""
    recorded = str(consent.notice_id or TYPED)
    typed = entry.text("version")
    chosen = str(choice or (recorded if typed == consent.version else TYPED))
    is_same_word = typed in (None, consent.version)
    if chosen == recorded != TYPED and is_same_word and entry["given_on"] == consent.given_on:
        return AgreedText(consent.version, consent.notice_id)
    reading = _reading(patient, entry, chosen)
    if recorded == TYPED != chosen and is_same_word:
        reading = replace(
            reading, typed=None
        )  # the page shows it typed already: whoever then chooses a text means that
    return agreed_text(session, clinic, reading)


def _reading(patient: Patient, entry: CheckedEntry, choice: str, offered: str | None = None) -> Reading:
    given_on = entry.day("given_on")
    if given_on is None:
        raise ValueError("a consent without its day was let through")
    return Reading(str(entry["kind"]), given_on, patient.language, choice, entry.text("version"), offered)


def _checked(patient: Patient, values: Mapping[str, Value], clinic: Clinic, today: date) -> CheckedEntry:
    recorded = {name: value for name, value in values.items() if name != NOTICE}
    entry = checked(CONSENT, recorded, Calendar(today, patient.birth_on))
    errors: Errors = {}
    given_on, withdrawn_on = entry.day("given_on"), entry.day("withdrawn_on")
    died = death_by(patient)
    if given_on is not None and died is not None and given_on > died:
        errors["given_on"] = [f"The patient died on {day_words(died)}, before {day_words(given_on)}."]
    if given_on is not None and withdrawn_on is not None and withdrawn_on < given_on:
        errors["withdrawn_on"] = [
            f"{day_words(withdrawn_on)} is before the day on which it was given, {day_words(given_on)}."
        ]
    for on, by, name in ((given_on, "given_by", "given_by_name"), (withdrawn_on, "withdrawn_by", "withdrawn_by_name")):
        errors |= by_whom(entry, on, by, name, of_age_on(patient, clinic))
    if errors:
        raise EntryRefused(errors)
    return entry


def by_whom(entry: CheckedEntry, on: date | None, by: str, name: str, of_age: date) -> Errors:
    """What is wrong with who gave or withdrew something on that day: `by` and `name` are the fields that say it."""
    who = entry.text(by)
    if on is None:
        return {by: ["Leave this empty while it is not withdrawn."]} if who else {}
    if who is None:
        return {by: ["Say by whom."]}
    if who != "self" and entry.text(name) is None:
        return {name: ["Write the name of who decided for the patient."]}
    if who == "parent" and on >= of_age:
        return {by: [f"The patient was of age on {of_age}; a parent no longer decides."]}
    if who == "self" and on < of_age and by == "given_by":
        return {by: [f"The patient is of age on {of_age} only; a parent decides until then."]}
    return {}
