"""The text fields of the enrolment page and of the form that adds an operation, read by the field tables.

A person's fields have the names of their rows. For each side the rows of an operation follow its name: `left_surgery_on`; and
`left_shoulder` is ticked for a side that nothing else was typed for. `consent_contact` and its like are ticked; beside them
`notice_contact` chooses the text that was read, and `version_contact` is typed of one that is not here. `offered_contact` tells which one
the page took for the one in force.
"""

from collections.abc import Mapping
from datetime import date

from server.clinic.agreed_text import IN_FORCE, NOTICE, OFFERED
from server.clinic.checks import check_enrolment
from server.clinic.entries import Enrolment, ShoulderEntry
from server.fields.field import Errors
from server.fields.operation import OPERATION, SHOULDER
from server.fields.operation_words import SIDES
from server.fields.person import CONSENT_KINDS, PERSON
from server.fields.read_form import is_filled, one_line, read_form

ASKED = tuple(field for field in (*OPERATION, *SHOULDER) if field.asked and (not field.kinds or "index" in field.kinds))
# A page sends these for a side that nobody touched.
_MEANS_A_SHOULDER = tuple(field for field in ASKED if field.name not in ("kind", "dominant"))


def read_enrolment(form: Mapping[str, str], *, today: date) -> tuple[Enrolment | None, Errors]:
    """The enrolment in a page's fields, or every error by field name. Never both; nothing is guessed."""
    person, unreadable = read_form(PERSON, form)
    shoulders = []
    for side in SIDES:
        if form.get(f"{side}_shoulder") or is_filled(_MEANS_A_SHOULDER, form, f"{side}_"):
            entry, errors = read_shoulder(form, side, f"{side}_")
            shoulders.append(entry)
            unreadable.update(errors)
    consents = tuple(kind for kind in CONSENT_KINDS if form.get(f"consent_{kind}"))
    enrolment = Enrolment(shoulders=tuple(shoulders), consents=consents, **person)
    enrolment.texts = {
        kind: (form.get(f"{NOTICE}_{kind}") or IN_FORCE, one_line(form.get(f"version_{kind}", "")) or None)
        for kind in consents
    }
    enrolment.offered = {kind: form[f"{OFFERED}_{kind}"] for kind in consents if f"{OFFERED}_{kind}" in form}
    # What could not be read says more than what then failed a check.
    errors = {**check_enrolment(enrolment, today=today), **unreadable}
    return (None, errors) if errors else (enrolment, {})


def read_shoulder(form: Mapping[str, str], side: str, prefix: str = "") -> tuple[ShoulderEntry, Errors]:
    """One side's operation, to be checked by `enrol` or `add_operation`; and what could not be read, by name with the prefix."""
    values, errors = read_form(ASKED, form, prefix=prefix)
    values["kind"] = values["kind"] or "index"
    return ShoulderEntry(side, **values), errors
