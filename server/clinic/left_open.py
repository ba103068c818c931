"""What a withdrawal leaves open, and what it does not: the one place that says so.

| the withdrawal goes as far as | messages | calls and letters by hand | what visits, records and registers show |
|---|---|---|---|
| no more messages | no | yes | yes |
| no more contact | no | no | yes |
| nothing from records, or erasure | no | no | no |

Answers that were given before are kept in every case; erasing them is an act of its own. A death known otherwise than from records or a
register is entered in every case (`leaving.py`).
"""

from collections.abc import Iterator, Mapping
from datetime import date

from server.clinic.contradiction import refuse_if
from server.fields.day_words import day_words
from server.models import Patient
from server.queries.facts import withdrew

RECORDS_CLOSED = ("records", "erasure")
ASKED_OF = {
    "messages": "asked for no more messages",
    "contact": "asked for no more contact",
    "records": "asked that nothing more be taken from records",
    "erasure": "asked for erasure",
}


def may_contact(patient: Patient) -> bool:
    return patient.withdrew_on is None


def may_record(patient: Patient) -> bool:
    return patient.withdrew_on is None or patient.withdrawal_extent not in RECORDS_CLOSED


def refuse_contact(patient: Patient) -> None:
    """Raises Contradiction where the patient wants no contact."""
    refuse_if(not may_contact(patient), f"{_said(patient)} Nobody calls or writes for the study.")


def refuse_new_details(patient: Patient) -> None:
    """Raises Contradiction where a contact detail or a hospital number would be added after erasure was asked for."""
    asked = patient.withdrew_on is not None and patient.withdrawal_extent == "erasure"
    refuse_if(
        asked, f"{_said(patient)} No contact detail and no hospital number is added any more; one can be taken away."
    )


def records_closed_since(patient: Patient) -> date | None:
    """The day from which nothing more is taken from records; None while it may be."""
    return None if may_record(patient) else patient.records_closed_on or patient.withdrew_on


def recording_closed(patient: Patient, on: object) -> str | None:
    """Why what happened on that day is not written down; what happened before the withdrawal may be completed."""
    since = records_closed_since(patient)
    if since is None or (isinstance(on, date) and on < since):
        return None
    return f"{_said(patient)} Nothing from {day_words(since)} on is written down."


def linkage_closed(patient: Patient, on: object) -> str | None:
    """Why nothing of that day is taken from a register, where consent to linkage was withdrawn."""
    asked = [each for each in patient.consents if each.kind == "linkage" and each.set_aside_at is None]
    ended = max((each.withdrawn_on for each in asked if each.withdrawn_on is not None), default=None)
    stands = any(each.withdrawn_on is None for each in asked)
    if ended is None or stands or (isinstance(on, date) and on < ended):
        return None
    return f"Consent to linkage with registers was withdrawn on {day_words(ended)}. Nothing is taken from them from that day on."


def outside_what_was_left_open(
    patient: Patient, values: Mapping[str, object], day: str, latest: date | None = None
) -> Iterator[tuple[str, str]]:
    """The field of the day, and why nothing of it is written down, if so. `latest`: the last day that it can be, where it is not exact."""
    closed = recording_closed(patient, latest or values.get(day))
    if closed is not None:
        yield day, closed


def _said(patient: Patient) -> str:
    extent, on = withdrew(patient) or ("contact", None)
    return f"The patient {ASKED_OF[extent]} on {day_words(on)}."
