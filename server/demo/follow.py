"""Plays one patient's timepoints: what the daily pass would have done, when the patient answers, what staff try."""

from collections.abc import Iterator
from datetime import date, datetime, timedelta
from functools import partial
from random import Random

from server.demo.answering import Answering
from server.demo.chance import draw_fate
from server.demo.stories import Fate, OperationStory, PatientStory
from server.demo.world import RECENT_DAYS, World
from server.models import ContactAttempt, FollowUp, Message, Operation, Patient, Timepoint
from server.queries.facts import facts_of, status_of
from server.reminders.ladder import end_ladder
from server.reminders.notice import Due, write_notice
from server.reminders.reach import not_to_be_written_to
from server.schedule.ladder import due_steps, is_exhausted, next_step_on
from server.schedule.plan import LadderStep
from server.schedule.status import WAITING
from server.timepoints.generate import refresh_timepoints
from server.timepoints.record import look_again

MORNING = (6, 30)  # when the daily pass runs in the story


class Follow:
    """The follow-ups of one patient. `told` keeps the story of each operation by its id."""

    def __init__(self, world: World, story: PatientStory, patient: Patient, random: Random) -> None:
        self.world = world
        self.story = story
        self.patient = patient
        self.random = random
        self.told: dict[int, tuple[Operation, OperationStory]] = {}
        self.fates: dict[int, Fate] = {}
        self.settled: dict[int, set[str]] = {}
        self.answering = Answering(self)
        self.baseline_answered = False
        self._waking = 0

    def tell(self, operation: Operation, told: OperationStory) -> None:
        self.told[operation.id] = operation, told

    def follow_ups(self) -> Iterator[FollowUp]:
        for operation, _ in self.told.values():
            yield from operation.follow_ups

    def wake_soon(self, at: datetime) -> None:
        """After something was entered: within the hour, as the server's clock does."""
        self._wake_at(at + timedelta(minutes=20))

    def _wake_at(self, at: datetime) -> None:
        self._waking += 1
        number = self._waking
        self.world.plan_act(at, lambda now: self.wake(now) if number == self._waking else None)

    def wake(self, now: datetime) -> None:
        """One pass over this patient: what turned, what is to be sent; then the day of the next pass."""
        world, today = self.world, self.world.day(now)
        due: list[Due] = []
        for follow_up in self.follow_ups():
            if self._needs_refresh(follow_up, today):
                refresh_timepoints(world.session, follow_up, world.plan, now=now, today=today)
            for row in list(follow_up.timepoints):
                if row.done_at is None:
                    due += self._pass_over(row, now, today)
        self.baseline_answered = False
        if due and today > world.today - timedelta(days=RECENT_DAYS):
            world.session.flush()
            world.letters.append(write_notice(world.session, world.outside, world.clinic, due, now=now, today=today))
        self._name(due)
        self._plan_next(today)

    def _needs_refresh(self, follow_up: FollowUp, today: date) -> bool:
        """The daily pass refreshes every day; only the days on which something opens or a baseline was just answered change anything."""
        if follow_up.ended_on is not None:
            return False
        just_answered = follow_up.operation.surgery_on is None and self.baseline_answered
        return just_answered or any(row.done_at is None and row.opens_on == today for row in follow_up.timepoints)

    def _pass_over(self, row: Timepoint, now: datetime, today: date) -> list[Due]:
        world = self.world
        if row.look_again_on is not None and row.look_again_on <= today:
            look_again(world.session, row, today=today, now=now)
        settled = self.settled.setdefault(row.id, set())
        steps = due_steps(
            world.plan.ladder, invites_on=row.invites_on, today=today, settled=settled, facts=facts_of(row)
        )
        for step in steps.passed_over:
            self._settle_step(row, step, "passed_over", now)
        made: list[Due] = []
        if steps.send is not None:
            reason = not_to_be_written_to(self.patient, steps.send.channel, today)
            message = self._settle_step(row, steps.send, reason or "sent", now)
            made = [] if reason else [Due(message, row, world.plan)]
        if settled and row.id not in self.fates:
            self._decide(row, today)
        if is_exhausted(world.plan.ladder, settled):
            world.session.flush()
            end_ladder(world.session, row, world.plan.ladder, now=now, today=today)
        return made

    def _settle_step(self, row: Timepoint, step: LadderStep, outcome: str, now: datetime) -> Message:
        tries = int(outcome == "sent")
        message = Message(
            timepoint_id=row.id, step=step.step, channel=step.channel, made_at=now, lease_no=tries, tries=tries
        )
        message.outcome, message.done_at = outcome, now
        self.world.session.add(message)
        self.settled.setdefault(row.id, set()).add(step.step)
        return message

    def _name(self, due: list[Due]) -> None:
        """Older letters lie in no mailbox, but their rows say that they went."""
        for each in due:
            if each.row.message_id is None:
                each.row.message_id = f"<{each.timepoint.form_id}.{each.row.step}@127.0.0.1>"

    def _plan_next(self, today: date) -> None:
        days = [day for row in self._undone() for day in self._next_days(row, today)]
        if days:
            self._wake_at(self.world.at(max(min(days), today + timedelta(days=1)), *MORNING))

    def _undone(self) -> list[Timepoint]:
        return [row for follow_up in self.follow_ups() for row in follow_up.timepoints if row.done_at is None]

    def _next_days(self, row: Timepoint, today: date) -> list[date]:
        found = [row.look_again_on]
        if status_of(row, today) in WAITING and row.ladder_exhausted_on is None:
            settled = self.settled.get(row.id, set())
            found.append(next_step_on(self.world.plan.ladder, invites_on=row.invites_on, settled=settled))
        return [day for day in found if day is not None]

    def _decide(self, row: Timepoint, today: date) -> None:
        """With its first message it is settled what becomes of a timepoint; then the acts are planned."""
        side = row.follow_up.operation.shoulder.side
        name = f"{side}/{row.code}" if row.attempt == 1 else f"{side}/{row.code}-{row.attempt}"
        fate = self.story.fates.get(name) or draw_fate(self.random, self.story, row)
        self.fates[row.id] = fate
        world, day = self.world, today + timedelta(days=fate.days)
        if fate.how == "late" and row.closes_on is not None:
            day = row.closes_on + timedelta(days=fate.days)
        if fate.how != "none":
            hour = self.random.randint(7, 21) if fate.how in ("phone", "late") else self.random.randint(9, 16)
            at = world.at(day, hour, self.random.randint(0, 59))
            world.plan_act(max(at, world.at(today, 9)), partial(self.answering.answer, row, fate))
        if fate.called and fate.how in ("none", "telephone"):
            self._plan_calls(row, today, fate)

    def _plan_calls(self, row: Timepoint, today: date, fate: Fate) -> None:
        """One to three calls after the last reminder, none after the window or the answer."""
        day = today + timedelta(days=23)
        for _ in range(self.random.randint(1, 3)):
            day += timedelta(days=self.random.randint(1, 7))
            result = self.random.choices(("no_answer", "left_message", "promised", "wrong_number"), (60, 22, 14, 4))[0]
            if fate.how == "none" or day < today + timedelta(days=fate.days):
                at = self.world.office_time(day, self.random)
                self.world.plan_act(at, partial(self.call, row, result))

    def call(self, row: Timepoint, result: str, at: datetime) -> None:
        """Written down if the row is still waited for, or if the answer was just taken (`reached`)."""
        if result == "reached" or status_of(row, self.world.day(at)) in WAITING:
            self.world.session.add(
                ContactAttempt(
                    patient_id=self.patient.id,
                    timepoint_id=row.id,
                    at=at,
                    by_id=self.world.nurse_id,
                    channel="telephone",
                    result=result,
                )
            )
