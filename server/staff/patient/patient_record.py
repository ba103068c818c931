"""Reads what is kept about one patient, in the shape in which pages show it. Opens nothing but names; answers stay sealed."""

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from datetime import date, timedelta

from sqlalchemy import select
from sqlalchemy.orm import Session, selectinload

from server.fields.operation_words import REVISIONS, starts_follow_up
from server.models import FollowUp, Operation, Patient, Response, Score, Shoulder, Timepoint
from server.models.response import FOR_THE_PATIENT
from server.queries.course import in_course
from server.queries.facts import capacity_lost, standing_of
from server.schedule.status import DONE, Reason, Standing, Status
from server.schedule.timepoint_code import TimepointCode
from server.staff.page import words
from server.staff.page.staff_names import staff_names
from server.timepoints.asked import asked_about_other_side, fetched_days
from server.worklist.words import title


@dataclass(frozen=True)
class Step:
    """One timepoint as it stands today, with its counted response and any repeats."""

    timepoint: Timepoint
    operation: Operation
    standing: Standing
    response: Response | None
    repeats: tuple[Response, ...]

    @property
    def status(self) -> Status:
        return self.standing.status

    @property
    def reason(self) -> Reason:
        return self.standing.reason

    @property
    def code(self) -> TimepointCode:
        return TimepointCode.parse(self.timepoint.code, self.timepoint.attempt)

    @property
    def words(self) -> str:
        first = self.code.is_before_surgery and self.operation.kind == "revision"
        said = words.gettext("before the revision") if first else words.timepoint(self.timepoint.code)
        if self.timepoint.attempt == 1:
            return said
        return words.gettext("%(timepoint)s, asked again (%(attempt)s)") % {
            "timepoint": said,
            "attempt": self.timepoint.attempt,
        }

    @property
    def is_others(self) -> bool:
        """Whether the form of the shoulder's other follow-up stands for it."""
        return self.reason in (Reason.OTHER_FORM, Reason.OTHER_ANSWER)

    @property
    def is_answered_by_another(self) -> bool:
        """Somebody else answered for the patient, which gives no score."""
        return self.response is not None and self.response.answered_by == FOR_THE_PATIENT

    @property
    def after_revision(self) -> bool:
        """An exchange in two stages is one revision, followed up from its second stage."""
        return self.operation.kind in ("revision", "second_stage") and not self.code.is_before_surgery

    @property
    def operation_if_before(self) -> Operation | None:
        """The operation before which it is asked; None for a form of afterwards."""
        return self.operation if self.code.is_before_surgery else None

    @property
    def shown_on(self) -> date:
        """Its place on a time axis: the day it was answered, otherwise the day it is due."""
        return self.timepoint.answered_on or self.timepoint.due_on

    @property
    def in_full(self) -> str:
        """The timepoint, said from which operation where there was a revision."""
        if not self.after_revision:
            return self.words
        return words.gettext("%(timepoint)s after the revision") % {"timepoint": self.words}

    def score(self, instrument: str, scale: str) -> Score | None:
        """The valid one, which may have no value; None when the form did not ask for it."""
        for score in self.response.scores if self.response else ():
            if score.instrument == instrument and score.scale == scale and score.superseded_at is None:
                return score
        return None

    def value(self, instrument: str, scale: str) -> float | None:
        found = self.score(instrument, scale)
        return found.value if found else None


@dataclass(frozen=True)
class Side:
    """One shoulder: its operations in order and every timepoint of every follow-up, by time."""

    shoulder: Shoulder
    steps: tuple[Step, ...]

    @property
    def side(self) -> str:
        return self.shoulder.side

    @property
    def operations(self) -> list[Operation]:
        return self.shoulder.operations

    @property
    def has_several_clocks(self) -> bool:
        """Whether "year 3" alone does not say from which operation."""
        return len({step.operation.id for step in self.steps}) > 1

    def operation_of(self, step: Step) -> Operation:
        """The operation whose result a form speaks of: the last one that was done by then, also where the first one's clock asked it."""
        on = step.shown_on - timedelta(days=1) if step.code.is_before_surgery else step.shown_on
        own = [each for each in self.operations if starts_follow_up(each.kind, each.stage) or each.kind in REVISIONS]
        return next((each for day, each in reversed(in_course(own)) if day <= on), step.operation)

    def is_first(self, operation: Operation) -> bool:
        """Not done after another that left a result of its own behind."""
        standing = [each for each in self.operations if each.cancelled_on is None and each.kind != "earlier"]
        return not standing or operation is standing[0]

    def baseline_of(self, operation: Operation, steps: Sequence[Step]) -> Step | None:
        """The last of these forms that was answered before this operation; one recalled afterwards is no such thing."""
        found = [each for each in steps if each.code.is_before_surgery and each.operation is operation]
        return next((each for each in reversed(found) if each.timepoint.window_state != "recalled"), None)

    @property
    def shown(self) -> list[Step]:
        """What a person wants to see: not the future, not what was over before enrolment, not what would only have opened after an end."""
        return [step for step in self.steps if step.status != Status.UPCOMING and not _outside(step)]

    @property
    def answered(self) -> list[Step]:
        return [step for step in self.steps if step.response is not None]

    @property
    def over(self) -> list[Step]:
        """Those whose own form was answered, or closed without an answer."""
        return [
            step
            for step in self.shown
            if step.status in DONE and step.status != Status.NOT_EXPECTED and not step.is_others
        ]


@dataclass(frozen=True)
class Record:
    patient: Patient
    sides: tuple[Side, ...]
    staff: dict[int, str]

    @property
    def name(self) -> str:
        return f"{self.patient.first_name} {self.patient.last_name}"

    def step_words(self, timepoint_id: int) -> str:
        """ "Left shoulder, year 2" for a timepoint of this patient."""
        found = ((side, step) for side in self.sides for step in side.steps if step.timepoint.id == timepoint_id)
        return next((words.say(title(side.side, step.timepoint.code)) for side, step in found), "")

    @property
    def left_on(self) -> tuple[str, date] | None:
        """Why and since when nothing more is expected of the person, if so."""
        patient = self.patient
        ends = (("died", patient.died_on), ("withdrew", patient.withdrew_on), ("transferred", patient.transferred_on))
        left = next(((reason, on) for reason, on in ends if on is not None), None)
        lost = capacity_lost(patient)
        return left or (("capacity_lost", lost[0]) if lost else None)


def read_record(session: Session, patient_id: int, *, today: date) -> Record | None:
    """None when there is no such patient. A merged record is followed to the one that was kept."""
    patient = session.get(Patient, patient_id)
    while patient is not None and patient.merged_into_id is not None:
        patient = session.get(Patient, patient.merged_into_id)
    if patient is None:
        return None
    shoulders = session.scalars(
        select(Shoulder)
        .where(Shoulder.patient_id == patient.id)
        .options(selectinload(Shoulder.operations).selectinload(Operation.follow_ups).selectinload(FollowUp.timepoints))
        .order_by(Shoulder.side)
    ).all()
    responses = session.scalars(
        select(Response)
        .where(Response.patient_id == patient.id)
        .options(selectinload(Response.scores))
        .order_by(Response.id)
    ).all()
    fetched = fetched_days(session, Timepoint.patient_id == patient.id)
    other_side = asked_about_other_side(session, Timepoint.patient_id == patient.id)

    def standing(timepoint: Timepoint) -> Standing:
        return standing_of(
            timepoint,
            today,
            fetched_on=fetched.get(timepoint.id),
            lost_on=patient.lost_on,
            other_side=timepoint.id in other_side,
        )

    # What was entered on the wrong shoulder leaves an empty one behind, of which nothing is to be said.
    sides = tuple(Side(each, _steps(each, responses, standing)) for each in shoulders if each.operations)
    return Record(patient, sides, staff_names(session))


def _outside(step: Step) -> bool:
    standing, opens_on = step.standing, step.timepoint.opens_on
    ended_before = standing.status == Status.NOT_EXPECTED and standing.since is not None and standing.since <= opens_on
    return ended_before or standing.reason == Reason.ENROLLED_LATER


def _steps(
    shoulder: Shoulder, responses: Iterable[Response], standing: Callable[[Timepoint], Standing]
) -> tuple[Step, ...]:
    by_timepoint: dict[int, list[Response]] = {}
    for response in responses:
        if response.timepoint_id is not None:  # else it was taken at a visit
            by_timepoint.setdefault(response.timepoint_id, []).append(response)
    steps = []
    for operation in shoulder.operations:
        for timepoint in (each for follow_up in operation.follow_ups for each in follow_up.timepoints):
            found = by_timepoint.get(timepoint.id, [])
            counted = next((each for each in found if each.counted), None)
            repeats = tuple(each for each in found if each is not counted)
            steps.append(Step(timepoint, operation, standing(timepoint), counted, repeats))
    return tuple(sorted(steps, key=lambda step: (step.shown_on, step.timepoint.id)))
