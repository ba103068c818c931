"""The steps and losses of a flow as the page says them."""

from collections.abc import Mapping
from dataclasses import dataclass

from server.fields.log import NOT_ENROLLED
from server.outcomes.series.flow import AGAIN, OTHER_ANSWERS, Flow, Loss, Step, people_at
from server.outcomes.series.sentence import FIRST_SHOULDER, NOT_RECORDED
from server.staff.page import words
from server.words.phrase import Phrase, phrase

STEPS: Mapping[str, Phrase] = {
    "log": phrase("operations in the log"),
    "meant": phrase("shoulders that the sentence means"),
    "taking_part": phrase("taking part"),
    "answered": phrase("with an answer after surgery"),
}
_MEANT: Mapping[str, Phrase] = {
    AGAIN: phrase("not the first operation of the shoulder"),
    "procedure": phrase("another procedure, or none recorded"),
    "implant_type": phrase("another implant type, or none recorded"),
    "model": phrase("another model, or none recorded"),
    "diagnosis": phrase("another diagnosis, or none recorded"),
    "cuff": phrase("another state of the cuff, or none recorded"),
    "glenoid": phrase("another glenoid type, or none recorded"),
    "side": phrase("the other side"),
    "dominant": phrase("the other arm, or not recorded which is dominant"),
    "surgeon": phrase("another surgeon, or none recorded"),
    "sex": phrase("another sex, or none recorded"),
    "certainty": phrase("another certainty, or none recorded"),
    "years": phrase("another year"),
    "age": phrase("another age, or no year of birth recorded"),
    FIRST_SHOULDER: phrase("the second shoulder of the same person"),
}
_TAKING_PART: Mapping[str, Phrase | str] = {
    **NOT_ENROLLED,
    NOT_RECORDED: phrase("not enrolled, and not recorded why"),
    "no_consent": phrase("enrolled, without consent to research"),
    "consent_withdrawn": phrase("enrolled, consent to research withdrawn"),
}
_ANSWERED: Mapping[str, Phrase] = {
    OTHER_ANSWERS: phrase("answered, but not in the way or the text that the sentence wants"),
    "erased": phrase("answered, and the answers were erased"),
    "answered_for": phrase("answered by somebody else alone"),
    "silent": phrase("asked, and answered nothing after surgery"),
    "waiting": phrase("a window is open, and no answer came yet"),
    "never_asked": phrase("never asked in a window"),
    "not_expected": phrase("died or left before an answer was due"),
    "upcoming": phrase("no window has opened yet"),
    "no_follow_up": phrase("without a follow-up"),
}
LOSSES: Mapping[str, Mapping[str, Phrase | str]] = {
    "meant": _MEANT,
    "taking_part": _TAKING_PART,
    "answered": _ANSWERED,
}


@dataclass(frozen=True)
class Line:
    """One line of the table behind the flow: a step, or a loss. `listed`: the name of the loss, where people can be listed."""

    text: str
    count: int
    people: int
    is_step: bool
    listed: str = ""


def loss_words(loss: Loss) -> str:
    """Why they are lost."""
    return words.say(LOSSES[loss.step].get(loss.reason, loss.reason))


def lines_of(flow: Flow) -> list[Line]:
    """Each step, with what was lost on the way to it before it."""
    found: list[Line] = []
    for step in flow.steps:
        found += [_loss_line(loss) for loss in flow.losses if loss.step == step.name]
        found.append(Line(_step_words(step), len(step.rows), people_at(step), is_step=True))
    return found


def sum_of(flow: Flow) -> str:
    """The count of the log as the sum of those analysed and every loss: 452 = 303 + 12 + 20."""
    parts = [len(flow.rows_at("answered")), *(len(loss.rows) for loss in reversed(flow.losses))]
    return f"{len(flow.rows_at('log'))} = {' + '.join(map(str, parts))}"


def failed_sums(flow: Flow) -> list[str]:
    """In words, which sums of a flow do not hold."""
    return [
        words.gettext("At “%(step)s” there should be %(before)s operations, and %(now)s were counted.")
        % {"step": words.say(STEPS[name]), "before": before, "now": now}
        for name, before, now in flow.failed_sums()
    ]


def _step_words(step: Step) -> str:
    return words.say(STEPS[step.name])


def _loss_line(loss: Loss) -> Line:
    can_be_listed = any(row.takes_part or row.line_id is not None for row in loss.rows)
    return Line(
        loss_words(loss), len(loss.rows), people_at(loss), is_step=False, listed=loss.name if can_be_listed else ""
    )
