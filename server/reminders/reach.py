"""Whether a patient may be written to, and by what. The answer is kept with each step that was let go."""

from datetime import date

from server.models import Consent, Patient, Timepoint
from server.queries.facts import status_of
from server.schedule.plan import LadderStep
from server.schedule.status import DONE, Status

_LET_GO = {Status.MISSED: "window_closed", Status.NOT_EXPECTED: "ended"}


def address_for(patient: Patient, channel: str) -> str | None:
    """Where this channel reaches the patient; None without an address, or when the patient's own order leaves the channel out."""
    wanted = [each.strip() for each in patient.channel_order.split(",") if each.strip()]
    if wanted and channel not in wanted:
        return None
    addresses = {"email": patient.email, "sms": patient.phone, "letter": patient.address}
    return (addresses.get(channel) or "").strip() or None


def not_to_be_written_to(patient: Patient, channel: str, today: date) -> str | None:
    """The outcome that says why no message may go to this patient; None when one may."""
    gone_on = (patient.died_on, patient.withdrew_on, patient.transferred_on)
    if patient.merged_into_id is not None or any(on is not None and on <= today for on in gone_on):
        return "ended"
    if not any(_holds(consent, today) for consent in patient.consents):
        return "no_consent"
    return None if address_for(patient, channel) else "no_contact"


def no_longer_due(timepoint: Timepoint, today: date) -> str | None:
    """The outcome that says why a message about this timepoint has lost its purpose; None while it is waited for."""
    status = status_of(timepoint, today)
    return _LET_GO.get(status, "already_answered") if status in DONE else None


def overtaken(step: str, ladder: tuple[LadderStep, ...], days_since_invitation: int) -> bool:
    """True when a later step of the ladder is due as well: only the latest is sent."""
    names = [each.step for each in ladder]
    if step not in names:
        return False
    later = ladder[names.index(step) + 1 :]
    return any(each.after_invite_days <= days_since_invitation for each in later)


def _holds(consent: Consent, today: date) -> bool:
    withdrawn = consent.withdrawn_on is not None and consent.withdrawn_on <= today
    return consent.kind == "contact" and consent.given_on <= today and not withdrawn
