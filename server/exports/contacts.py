"""How often a patient was written to and called about each timepoint, by channel."""

from collections import Counter
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date

from sqlalchemy import func, select
from sqlalchemy.orm import Session

from server.models import ContactAttempt, FollowUp, Message, Operation, Shoulder, Timepoint
from server.queries.clock import clinic_day, the_clinic


@dataclass(frozen=True)
class Contacts:
    """By timepoint the messages that were sent, and tries to reach the patient; `_of_all`, by patient: days of tries that named none."""

    _messages: Mapping[int, Counter[str]]
    _calls: Counter[int]
    _of_all: Mapping[int, list[date]]

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
        patients = select(Shoulder.patient_id).join(Operation).where(Operation.id.in_(operations))
        clinic, calls, of_all = the_clinic(session), Counter[int](), dict[int, list[date]]()
        tries = select(ContactAttempt.patient_id, ContactAttempt.timepoint_id, ContactAttempt.at)
        for row in session.execute(
            tries.where(ContactAttempt.patient_id.in_(patients), ContactAttempt.taken_back_at.is_(None))
        ):
            if row.timepoint_id is not None:
                calls[row.timepoint_id] += 1
            else:
                of_all.setdefault(row.patient_id, []).append(clinic_day(clinic, row.at))
        return cls(messages, calls, of_all)

    def sent(self, timepoint: Timepoint) -> Mapping[str, int]:
        return self._messages.get(timepoint.id, Counter())

    def calls(self, timepoint: Timepoint) -> int:
        """A try that named no timepoint is one about each whose window was open on that day and had no answer yet."""
        ends = [day for day in (timepoint.closes_on, timepoint.answered_on) if day is not None]
        days = self._of_all.get(timepoint.patient_id, [])
        unnamed = [day for day in days if timepoint.opens_on <= day and all(day <= end for end in ends)]
        return self._calls[timepoint.id] + len(unnamed)
