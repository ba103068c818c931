"""Why a patient is not written to: the reason kept with each step that was let go."""

from collections.abc import Sequence
from datetime import date

from server.models import Consent, Patient, Timepoint
from server.queries.facts import capacity_lost, status_of
from server.reminders.channels.table import CHANNELS
from server.schedule.status import DONE, Status

_OUTCOME_OF = {Status.MISSED: "window_closed", Status.NEVER_ASKED: "window_closed", Status.NOT_EXPECTED: "ended"}
_ADDRESS_OF = {channel.name: channel.address for channel in CHANNELS}


def ways_of_contact(patient: Patient) -> Sequence[str]:
    """The patient's channel order; empty when none was stated, which means that any will do."""
    return [each.strip() for each in patient.channel_order.split(",") if each.strip()]


def address_for(patient: Patient, channel: str) -> str | None:
    """Where this channel reaches the patient; None without an address, or when the patient's own order leaves the channel out."""
    wanted = ways_of_contact(patient)
    if (wanted and channel not in wanted) or channel not in _ADDRESS_OF:
        return None
    return (_ADDRESS_OF[channel](patient) or "").strip() or None


def consents_to_contact(patient: Patient, today: date) -> bool:
    """Whether a consent to contact stands, without which no message goes."""
    return any(_holds(consent, today) for consent in patient.consents)


def reason_not_to_contact(patient: Patient, channel: str, today: date) -> str | None:
    """The outcome that says why no message may go to this patient; None when one may."""
    gone_on = (patient.died_on, patient.withdrew_on, patient.transferred_on)
    out = patient.merged_into_id is not None or patient.taken_back_at is not None
    if out or any(on is not None and on <= today for on in gone_on):
        return "ended"
    if patient.messages_stopped_on is not None and patient.messages_stopped_on <= today:
        return "messages_stopped"
    lost = capacity_lost(patient)
    if lost is not None and lost[0] <= today:
        return "no_consent"
    if not consents_to_contact(patient, today):
        return "no_consent"
    return None if address_for(patient, channel) else "no_contact"


def reason_no_longer_due(timepoint: Timepoint, today: date) -> str | None:
    """The outcome that says why a message about this timepoint has lost its purpose; None while it is waited for."""
    status = status_of(timepoint, today)
    return _OUTCOME_OF.get(status, "already_answered") if status in DONE else None


def _holds(consent: Consent, today: date) -> bool:
    withdrawn = consent.withdrawn_on is not None and consent.withdrawn_on <= today
    stands = consent.set_aside_at is None and consent.given_on <= today and not withdrawn
    return consent.kind == "contact" and stands
