"""A clinic whose days pass and whose mail lands in a folder.

Ada's right shoulder was operated on 1 June 2026. Six weeks: opens 29 June, invites 6 July, reminds on 13, 20 and 27 July, due
13 July, closes 3 August.
"""

from collections.abc import Mapping
from dataclasses import asdict, dataclass
from datetime import UTC, date, datetime, time, timedelta
from zoneinfo import ZoneInfo

from sqlalchemy import select
from sqlalchemy.orm import Session

from server.clinic.entries import ShoulderEntry
from server.jobs import clock as jobs
from server.models import FollowUp, Message, Operation, Patient, Timepoint, Transition
from server.reminders.channels.contract import Notice, Preview
from server.reminders.channels.email.mailbox import MailboxLetter, list_mailbox
from server.reminders.link_service import LinkService
from server.reminders.outbox import send_waiting
from server.reminders.tick import TickReport
from server.schedule.window import WindowState
from server.timepoints.transitions import Answered, mark_answered
from tests.clinic_case import Case

SURGERY = date(2026, 6, 1)
OPENS, INVITES, DUE, CLOSES = date(2026, 6, 29), date(2026, 7, 6), date(2026, 7, 13), date(2026, 8, 3)
REMINDS = (date(2026, 7, 13), date(2026, 7, 20), date(2026, 7, 27))
LADDER = ("invitation", "reminder-1", "reminder-2", "reminder-3")
MADRID = ZoneInfo("Europe/Madrid")


def right(surgery_on: date = SURGERY) -> ShoulderEntry:
    return ShoulderEntry(side="right", surgery_on=surgery_on)


def left(surgery_on: date = SURGERY) -> ShoulderEntry:
    return ShoulderEntry(side="left", surgery_on=surgery_on)


def madrid(day: date, hour: int = 10, minute: int = 0) -> datetime:
    return datetime.combine(day, time(hour, minute), tzinfo=MADRID).astimezone(UTC)


@dataclass
class House:
    """`case` and what the clock does to it."""

    case: Case

    def link_service(self) -> LinkService:
        return LinkService(self.case.runtime.library, jobs.LINKS)

    def tick(self, day: date | None = None, *, extend: bool = True) -> TickReport:
        self.case.now = madrid(day) if day else self.case.now
        return jobs.tick(self.case.runtime, extend=extend)

    def send(self) -> int:
        return jobs.send(self.case.runtime)

    def one_day(self, day: date) -> None:
        self.tick(day)
        self.send()

    def days(self, first: date, last: date) -> None:
        """Each day of both and between; the rows reach far beyond these, so only the first day looks ahead."""
        for number in range((last - first).days + 1):
            self.tick(first + timedelta(days=number), extend=number == 0)
            self.send()

    def send_one(self, channel: "Recorder") -> bool:
        """True when there was something to send, whatever became of it."""
        runtime, before = self.case.runtime, channel.tries
        send_waiting(
            runtime.store, runtime.library, jobs.LINKS, {"email": channel}, clock=lambda: self.case.now, most=1
        )
        return channel.tries > before

    def letters(self) -> list[MailboxLetter]:
        """Oldest first."""
        return list_mailbox(self.case.runtime.settings.data / "mailbox")[::-1]

    def letter_days(self) -> list[date]:
        return [letter.sent_at.astimezone(MADRID).date() for letter in self.letters()]

    def outcomes(self, side: str | None = None, code: str = "week-6") -> dict[str, str | None]:
        """Step to outcome, in the order in which the steps were put into the outbox."""
        with self.case.store.reading() as session:
            rows = session.execute(select(Message, Timepoint).join(Timepoint).order_by(Message.id)).all()
            return {
                message.step: message.outcome
                for message, timepoint in rows
                if timepoint.code == code and side in (None, side_of(timepoint))
            }

    def history(self, code: str = "week-6") -> list[tuple[str, date]]:
        """Each status that was written down, and Madrid's day on which it was."""
        with self.case.store.reading() as session:
            wanted = select(Transition).join(Timepoint, Transition.timepoint_id == Timepoint.id)
            rows = session.scalars(wanted.where(Timepoint.code == code).order_by(Transition.id))
            return [(row.status_after, row.at.astimezone(MADRID).date()) for row in rows]

    def answer(self, side: str = "right", code: str = "week-6") -> None:
        with self.case.store.writing() as session:
            answered = Answered(find(session, code, side), self.case.now, self.case.today, WindowState.IN)
            mark_answered(session, [answered], today=self.case.today, now=self.case.now)

    def everything(self) -> dict[str, list[Mapping[str, object]]]:
        """All rows that a tick or a sender may write, for comparing before and after."""
        with self.case.store.reading() as session:
            tables = (FollowUp, Timepoint, Transition, Message)
            return {
                table.__name__: [
                    {column.key: getattr(row, column.key) for column in table.__table__.columns}
                    for row in session.scalars(select(table).order_by(table.id))
                ]
                for table in tables
            }

    def change_patient(self, patient_id: int, **values: object) -> None:
        with self.case.store.writing() as session:
            patient = session.get_one(Patient, patient_id)
            for name, value in values.items():
                setattr(patient, name, value)


def find(session: Session, code: str, side: str = "right") -> Timepoint:
    rows = session.scalars(select(Timepoint).where(Timepoint.code == code))
    return next(row for row in rows if side_of(row) == side)


def side_of(timepoint: Timepoint) -> str:
    return timepoint.follow_up.operation.shoulder.side


def operation_of(session: Session, patient_id: int) -> Operation:
    return session.get_one(Patient, patient_id).shoulders[0].operations[0]


class Recorder:
    """A channel that keeps what it was given, and first raises what `fails` holds."""

    def __init__(self, *fails: Exception) -> None:
        self.notices: list[Notice] = []
        self.tries = 0
        self._fails = list(fails)

    def preview(self, notice: Notice) -> Preview:
        return Preview(notice.to, "", notice.url)

    def send(self, notice: Notice) -> None:
        self.tries += 1
        if self._fails:
            raise self._fails.pop(0)
        self.notices.append(notice)


def counts(report: TickReport) -> dict[str, int]:
    """Without what is 0."""
    return {name: count for name, count in asdict(report).items() if count}
