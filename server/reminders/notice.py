"""Everything that one message says, from the rows it is about."""

import hashlib
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime
from urllib.parse import urlsplit

from server.fields.by_language import in_language
from server.models import Clinic, Message, Patient, Timepoint
from server.queries.facts import is_spoken_for
from server.reminders.channels.contract import Notice, Numbers, Tone
from server.reminders.contact_block import address_for
from server.schedule.ladder import LadderStep
from server.schedule.plan import Plan


@dataclass(frozen=True)
class Due:
    """One row that should still go, with its timepoint, its plan, and the steps of the ladder that it is one of."""

    row: Message
    timepoint: Timepoint
    plan: Plan
    steps: Sequence[LadderStep]


def write_notice(
    clinic: Clinic, patient: Patient, due: Sequence[Due], url: str, *, now: datetime, today: date
) -> Notice:
    """The notice of one message about all that is due of a patient, in the patient's language, with the link `url`."""
    first = due[0]
    message_id = first.row.message_id or _message_id(clinic, first)
    for each in due:
        each.row.message_id = message_id
    timepoints = [each.timepoint for each in due]
    ahead = [timepoint.due_on for timepoint in timepoints if timepoint.due_on >= today]
    return Notice(
        message_id=message_id,
        to=address_for(patient, first.row.channel) or "",
        language=patient.language,
        first_name=patient.first_name,
        sides=tuple(sorted({timepoint.follow_up.operation.shoulder.side for timepoint in timepoints})),
        tone=_tone(due),
        minutes=sum(each.plan.entry(each.timepoint.code).minutes for each in due),
        due_on=min(ahead, default=None),
        closes_on=min((row.closes_on for row in timepoints if row.closes_on is not None), default=None),
        url=url,
        clinic=_numbers(clinic, patient.language),
        written_at=now,
        spoken_for=is_spoken_for(patient, today),
    )


def _tone(due: Sequence[Due]) -> Tone:
    """The mildest of all: nobody is reminded of what they were never asked."""
    tones: tuple[Tone, ...] = ("first", "again", "last")
    found = set()
    for each in due:
        names = [step.step for step in each.steps]
        place = names.index(each.row.step) if each.row.step in names else 0
        found.add(0 if place == 0 else 2 if place == len(names) - 1 else 1)
    return tones[min(found)]


def _message_id(clinic: Clinic, first: Due) -> str:
    """The row's id, a fingerprint that no other clinic's database repeats, and the clinic's host."""
    host = urlsplit(clinic.base_url).hostname or "localhost"
    fingerprint = hashlib.sha256(f"{first.timepoint.form_id}/{first.row.step}".encode()).hexdigest()[:16]
    return f"<{first.row.id}.{fingerprint}@{host[:60]}>"


def _numbers(clinic: Clinic, language: str) -> Numbers:
    return Numbers(
        name=clinic.name,
        phone=clinic.phone,
        phone_hours=in_language(clinic.phone_hours, language, clinic.languages),
        closed_phone=clinic.closed_phone,
        emergency_number=clinic.emergency_number,
        demo=clinic.mode == "demo",
    )
