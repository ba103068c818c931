"""Whether a state is acceptable: by a level of a score, and by the patient's own answer. Two lines, never one."""

from collections.abc import Mapping
from dataclasses import dataclass

from scoring.acceptable import State, by_question, by_threshold
from scoring.definition import Definition, Scale
from server.fields.operation_words import threshold_type
from server.models import Operation
from server.staff.page import words
from server.staff.page.threshold_text import ShownThreshold, chosen, why_none
from server.staff.patient.patient_record import Side, Step
from server.staff.patient.printed_score import PrintedScore, score_href
from server.staff.patient.score_series import STATE
from server.words.phrase import phrase

# Why a state cannot be judged, as scoring.acceptable says it.
REASONS = {
    said.text: said
    for said in (
        phrase("before surgery a level of a score says nothing"),
        phrase("not before one year after surgery"),
        phrase("no score"),
        phrase("not answered"),
    )
}


@dataclass(frozen=True)
class Level:
    """`state` and `threshold` are None where there is no level to use for this scale; `none` says why."""

    threshold: ShownThreshold | None
    state: State | None
    none: str = ""

    @property
    def word(self) -> str:
        if self.state is None:
            return self.none
        return _word(self.state)


@dataclass(frozen=True)
class OwnAnswer:
    """The last form that asked the question. `href` leads to the answer."""

    state: State
    when: str
    href: str
    timepoint_id: int

    @property
    def word(self) -> str:
        return _word(self.state)


def _word(state: State) -> str:
    if state.acceptable is None:
        return words.say(REASONS[state.reason]) if state.reason in REASONS else state.reason or ""
    return words.yes_or_no(state.acceptable)


def level_reached(
    step: Step, operation: Operation, last: PrintedScore, definition: Definition, scale: Scale, *, first: bool
) -> Level:
    """After a revision no level is used: all that were read were found after first operations."""
    if not first:
        return Level(None, None, words.gettext("no level that was found after revisions was read"))
    threshold = chosen(definition, scale.scale, "pass", implant=threshold_type(operation.implant_type))
    if threshold is None:
        return Level(None, None, why_none(definition, scale.scale, "pass"))
    return Level(threshold, by_threshold(scale, threshold.threshold, last.value, year=step.code.full_years))


def own_answer_of(side: Side) -> OwnAnswer | None:
    """None when no form has asked it."""
    for step in reversed(side.answered):
        score = step.score(*STATE)
        if step.response is not None and score is not None and step.timepoint.window_state != "recalled":
            state = by_question(score.value, year=step.code.full_years)
            return OwnAnswer(state, step.in_full, score_href(step.response.id, *STATE), step.timepoint.id)
    return None


def disagreement(own: OwnAnswer | None, levels: Mapping[str, tuple[int, Level]]) -> str:
    """A sentence where the patient's own yes or no and a published level say different things of one form; "" where they do not.

    `levels`: of each scale, by its title, the timepoint and what the level says.
    """
    if own is None or own.state.acceptable is None or own.state.description:
        return ""
    others = [
        title
        for title, (timepoint_id, level) in levels.items()
        if timepoint_id == own.timepoint_id
        and level.state is not None
        and level.state.acceptable is (not own.state.acceptable)
    ]
    if not others:
        return ""
    said = (
        words.gettext(
            "The two disagree: the patient says yes, the published level of %(scales)s says no. "
            "The level was found in other people; the patient's own answer stands."
        )
        if own.state.acceptable
        else words.gettext(
            "The two disagree: the patient says no, the published level of %(scales)s says yes. "
            "The level was found in other people; the patient's own answer stands."
        )
    )
    return said % {"scales": words.listed(others)}
