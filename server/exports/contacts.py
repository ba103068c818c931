"""How often a patient was written to and called about each timepoint, by channel, and when its form was fetched."""

from collections import Counter
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date

from sqlalchemy import func, select
from sqlalchemy.orm import Session

from server.models import ContactAttempt, FollowUp, Message, Operation, Shoulder, Timepoint
from server.queries.clock import clinic_day, the_clinic
from server.timepoints.asked import asked_about_other_side, fetched_days

SECOND_CONTACT = "second_contact"  # beside the channels: a try that went to that person, by whatever channel


@dataclass(frozen=True)
class Contacts:
    """By timepoint the messages that were sent, and tries to reach the patient; `_of_all`, by patient: tries that named none, by day.

    `_other_side`: those that were asked about the other shoulder, before the side was put right.
    """

    _messages: Mapping[int, Counter[str]]
    _tries: Mapping[int, Counter[str]]
    _of_all: Mapping[int, list[tuple[date, str]]]
    _fetched: Mapping[int, date]
    _other_side: frozenset[int]

    @classmethod
    def of(cls, session: Session, operations: list[int]) -> "Contacts":
        """Of all timepoints of these operations."""
        messages: dict[int, Counter[str]] = {}
        ours = select(Message.timepoint_id, Message.channel, func.count()).join(
            Timepoint, Timepoint.id == Message.timepoint_id
        )
        ours = ours.join(FollowUp, FollowUp.id == Timepoint.follow_up_id).where(FollowUp.operation_id.in_(operations))
        sent = ours.where(Message.outcome == "sent").group_by(Message.timepoint_id, Message.channel)
        for timepoint_id, channel, count in session.execute(sent):
            messages.setdefault(timepoint_id, Counter())[channel] = count
        clinic, tries, of_all = the_clinic(session), dict[int, Counter[str]](), dict[int, list[tuple[date, str]]]()
        patients = select(Shoulder.patient_id).join(Operation).where(Operation.id.in_(operations))
        standing = ContactAttempt.patient_id.in_(patients), ContactAttempt.taken_back_at.is_(None)
        for each in session.scalars(select(ContactAttempt).where(*standing)):
            how = SECOND_CONTACT if each.to_second_contact else each.channel
            if each.timepoint_id is not None:
                tries.setdefault(each.timepoint_id, Counter())[how] += 1
            else:
                of_all.setdefault(each.patient_id, []).append((clinic_day(clinic, each.at), how))
        theirs = Timepoint.follow_up_id.in_(select(FollowUp.id).where(FollowUp.operation_id.in_(operations)))
        return cls(messages, tries, of_all, fetched_days(session, theirs), asked_about_other_side(session, theirs))

    def fetched_on(self, timepoint: Timepoint) -> date | None:
        return self._fetched.get(timepoint.id)

    def asked_about_other_side(self, timepoint: Timepoint) -> bool:
        return timepoint.id in self._other_side

    def sent(self, timepoint: Timepoint) -> Mapping[str, int]:
        return self._messages.get(timepoint.id, Counter())

    def tries(self, timepoint: Timepoint) -> Mapping[str, int]:
        """A try that named no timepoint is one about each whose window was open on that day and had no answer yet."""
        ends = [day for day in (timepoint.closes_on, timepoint.answered_on) if day is not None]
        unnamed = self._of_all.get(timepoint.patient_id, [])
        about_it = (how for day, how in unnamed if timepoint.opens_on <= day and all(day <= end for end in ends))
        return self._tries.get(timepoint.id, Counter()) + Counter(about_it)
