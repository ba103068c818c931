"""Whether a state is acceptable: by a level of a score, and by the patient's own answer. Two lines, never one."""

from dataclasses import dataclass

from scoring.acceptable import State, by_question, by_threshold
from scoring.definition import Definition, Scale
from server.fields.operation_words import threshold_type
from server.staff.page.threshold_text import ShownThreshold, chosen, why_none
from server.staff.patient.patient_record import Side, Step
from server.staff.patient.printed_score import PrintedScore, score_href
from server.staff.patient.score_series import STATE


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
        return self.state.reason or ("yes" if self.state.acceptable else "no")


@dataclass(frozen=True)
class OwnAnswer:
    """The last form that asked the question. `href` leads to the answer."""

    state: State
    when: str
    href: str

    @property
    def word(self) -> str:
        return self.state.reason or ("yes" if self.state.acceptable else "no")


def level_reached(step: Step, last: PrintedScore, definition: Definition, scale: Scale) -> Level:
    threshold = chosen(definition, scale.scale, "pass", implant=threshold_type(step.operation.implant_type))
    if threshold is None:
        return Level(None, None, why_none(definition, scale.scale, "pass"))
    return Level(threshold, by_threshold(scale, threshold.threshold, last.value, year=step.code.full_years))


def own_answer_of(side: Side) -> OwnAnswer | None:
    """None when no form has asked it."""
    for step in reversed(side.answered):
        score = step.score(*STATE)
        if step.response is not None and score is not None and step.timepoint.window_state != "recalled":
            state = by_question(score.value, year=step.code.full_years)
            return OwnAnswer(state, step.in_full, score_href(step.response.id, *STATE))
    return None
