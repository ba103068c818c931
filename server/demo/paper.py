"""Typing in what a binder holds of somebody: forms that were filled in on paper before the clinic had this program."""

from datetime import date, timedelta
from random import Random

from sqlalchemy import select

from server.demo.answering import Answering, Printed, read_printed
from server.demo.chance import paper_lies_there
from server.demo.stories import OperationStory
from server.intake.enter import Entered, FilledIn, enter_forms
from server.models import FollowUp, Timepoint
from server.schedule.timepoint_code import TimepointCode


def type_in(answering: Answering) -> None:
    """All that the binder holds of one person, as one act. The due sheet that changed is published by the next pass."""
    simulation = answering.simulation
    with simulation.runtime.store.writing() as session:
        rows = select(Timepoint, FollowUp.operation_id).join(FollowUp, FollowUp.id == Timepoint.follow_up_id)
        of_patient = rows.where(Timepoint.patient_id == answering.patient_id, Timepoint.historical)
        printed = read_printed(session, simulation.runtime.library)
        forms = [
            filled_in
            for row, operation_id in session.execute(of_patient.order_by(Timepoint.due_on, Timepoint.id))
            if (filled_in := _from_binder(printed, answering, row, operation_id)) is not None
        ]
        machine = simulation.runtime
        enter_forms(session, forms, library=machine.library, keys=machine.keys, now=simulation.now)


def _from_binder(printed: Printed, answering: Answering, row: Timepoint, operation_id: int) -> FilledIn | None:
    operation, story = answering.operations[operation_id], answering.story
    random = Random(f"{story.seed}, on paper, {operation.side}, {operation.kind}, {row.code}")
    on = _day_of(row, random)
    ability = answering.ability(operation_id, row.code, on)
    until = min([story.enrolled_on, *_ends(answering, operation)])
    fate = story.fates.get(f"{operation.side}/{row.code}")
    if on >= until or not (fate or paper_lies_there(random, story, row.code, ability)):
        return None
    wanted = answering.wanted(operation_id, row.code, on, fate.extra if fate else {})
    parts = answering.told_parts(printed, row, operation_id, wanted, random)
    at = answering.simulation.at(on, random.randint(8, 20))
    by_id = answering.simulation.staff.nurse_id
    return FilledIn(row, parts, Entered("paper", "patient", story.person.language, at, by_id))


def _day_of(row: Timepoint, random: Random) -> date:
    """The day that somebody wrote on it: of a questionnaire before surgery in the month before, of others inside the window."""
    if TimepointCode.parse(row.code).is_before_surgery:
        return (row.closes_on or row.due_on) - timedelta(days=random.randint(1, 30))
    on = row.due_on + timedelta(days=random.randint(-10, 40))
    return min(max(on, row.opens_on), row.closes_on or on)


def _ends(answering: Answering, operation: OperationStory) -> list[date]:
    """After a revision its own forms were filled in; after a death none."""
    later = [
        each.done_on
        for each in answering.operations.values()
        if each.side == operation.side and each.done_on and operation.done_on and each.done_on > operation.done_on
    ]
    end = answering.story.end
    return later if end is None else [*later, end.on]
