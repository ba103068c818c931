"""When the first message to a patient who was just enrolled leaves by itself, or why none does."""

from datetime import date

from sqlalchemy import select
from sqlalchemy.orm import Session

from server.fields.person import SENT_BY_ITSELF
from server.models import Patient, Timepoint
from server.queries.facts import status_of
from server.queries.holidays import read_holidays
from server.queries.restored import waits_for_release
from server.reminders.contact_block import reason_not_to_contact
from server.schedule.status import WAITING, Status
from server.schedule.working_time import is_holiday
from server.words.phrase import Phrase, phrase

BY_HAND = phrase(
    "No invitation goes by itself to this patient: let the link be scanned, hand the letter over, or read it out."
)
NO_CONSENT = phrase("No invitation leaves: no consent to contact was entered.")
SOON = phrase("The invitation leaves by e-mail within a quarter of an hour.")  # the clock's pass, in server.jobs.clock
AFTER_HOLIDAY = phrase(
    "Today is a holiday of the clinic: the invitation leaves by e-mail on the next day that is none."
)
RESTORED = phrase("No invitation leaves until a data manager releases the restored clinic under Backups.")


def invitation(session: Session, patient: Patient, *, today: date) -> Phrase | None:
    """None where nothing is asked of the patient yet, or it is not known when."""
    reasons = {reason_not_to_contact(patient, way, today) for way in SENT_BY_ITSELF}
    if None not in reasons:
        return NO_CONSENT if "no_consent" in reasons else BY_HAND
    rows = session.scalars(select(Timepoint).where(Timepoint.patient_id == patient.id)).all()
    ahead = [each for each in rows if status_of(each, today) in (*WAITING, Status.UPCOMING)]
    first_on = min((each.invites_on for each in ahead), default=None)
    if first_on is None:
        return None
    if waits_for_release(session) is not None:
        return RESTORED
    if first_on > today:
        return phrase("The invitation leaves by e-mail on %(day)s.", day=first_on)
    return AFTER_HOLIDAY if is_holiday(today, read_holidays(session)) else SOON
