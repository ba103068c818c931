"""The steps and losses of a flow as the page says them."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass

from server.fields.log import NOT_ENROLLED
from server.outcomes.figures import flow as figures
from server.outcomes.figures.flow import FlowFigure
from server.outcomes.series.flow import AGAIN, OTHER_ANSWERS, Flow, Loss, people_at
from server.outcomes.series.sentence import FIRST_SHOULDER, NOT_RECORDED
from server.staff.page import words
from server.staff.series.part import people_words
from server.words.phrase import Phrase, phrase

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
_MARKS: Mapping[str, figures.Mark] = {
    "silent": "missed",
    "never_asked": "never_asked",
    "no_follow_up": "never_asked",
    "not_expected": "not_expected",
    "upcoming": "not_expected",
    "waiting": "not_expected",
}


@dataclass(frozen=True)
class Line:
    """One line of the table behind the flow: a step, or a loss. `href`: the address of the people behind a loss, if any may be shown."""

    text: str
    count: int
    people: int
    is_step: bool
    href: str = ""


def loss_words(loss: Loss) -> str:
    """Why they are lost."""
    return words.say(LOSSES[loss.step].get(loss.reason, loss.reason))


def lines_of(flow: Flow, link: Callable[[Loss], str]) -> list[Line]:
    """Each step, with what was lost on the way to it before it."""
    found: list[Line] = []
    for step in flow.steps:
        found += [_loss_line(loss, link(loss)) for loss in flow.losses if loss.step == step.name]
        found.append(Line(_step_words(step.name, len(step.rows)), len(step.rows), people_at(step), is_step=True))
    return found


def figure_of(flow: Flow, link: Callable[[Loss], str]) -> FlowFigure:
    """The counts of a flow with their words. `link`: the address of the people behind a loss; nothing where none are shown."""
    return FlowFigure(
        steps=tuple(
            figures.Step(_step_words(step.name, len(step.rows)), len(step.rows), people_at(step)) for step in flow.steps
        ),
        losses=tuple(
            figures.Loss(loss_words(loss), len(loss.rows), people_at(loss), _mark(loss), link(loss))
            for loss in flow.losses
        ),
        title=words.gettext("From the log to the answers"),
        people=people_words,
    )


def can_be_listed(loss: Loss) -> bool:
    """Whether anybody behind it may be shown: whoever did not agree to research is a count."""
    return any(row.takes_part or row.line_id is not None for row in loss.rows)


def _mark(loss: Loss) -> figures.Mark:
    """As year marks are drawn. Who takes no part, or was never asked, was silent about nothing."""
    if loss.step == "taking_part":
        return "never_asked"
    return _MARKS.get(loss.reason, "not_meant") if loss.step == "answered" else "not_meant"


def failed_sums(flow: Flow) -> list[str]:
    """In words, which sums of a flow do not hold."""
    return [
        words.gettext("At “%(step)s” there should be %(before)s operations, and %(now)s were counted.")
        % {"step": _step_words(name, before), "before": before, "now": now}
        for name, before, now in flow.failed_sums()
    ]


def _step_words(name: str, count: int) -> str:
    """What stands beside the count of a step."""
    return {
        "log": words.ngettext("operation in the log", "operations in the log", count),
        "meant": words.ngettext("shoulder that the sentence means", "shoulders that the sentence means", count),
        "taking_part": words.gettext("taking part"),
        "answered": words.gettext("with an answer after surgery"),
    }[name]


def _loss_line(loss: Loss, href: str) -> Line:
    return Line(loss_words(loss), len(loss.rows), people_at(loss), is_step=False, href=href)
