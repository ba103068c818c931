"""One change of one person between two scores, in words. The arithmetic is scoring.change's."""

from dataclasses import dataclass

from scoring.change import BEYOND_ERROR, WITHIN_ERROR, best_of, compare, gain, is_within_error, percent_of_possible
from scoring.definition import Definition, Scale
from scoring.printed_decimals import half_up
from scoring.steps import fraction_of
from scoring.threshold_choice import may_be_called_improved
from server.staff.page.threshold_text import ShownThreshold, chosen, error_beside, why_none
from server.staff.patient.printed_score import PERCENT, PrintedScore, points

TOO_SOON = "within the first year no threshold is used"
BEFORE_SURGERY = "before an operation no threshold is used"
IN_BETWEEN = "thresholds speak of the change since surgery, not of that between two later answers"
UNLIKE = "none was found by what people like these said after the same operation"
AFTER_REVISION = "none that was found in revisions was read"


@dataclass(frozen=True)
class Operated:
    """Of the operation that both scores speak of: the implant type of thresholds, and whether it was a first operation."""

    implant: str | None
    first: bool


@dataclass(frozen=True)
class ChangeVerdict:
    """`word` is empty where no threshold is used, and then `none` says why. `room`: a sentence on how little could be gained, where that
    is less than counts as improved, and empty where it is enough.

    `steps`: the arithmetic, a line each.
    """

    since: str  # "since before surgery"
    before: PrintedScore
    after: PrintedScore
    by: str  # "8 points better"
    percent: str
    word: str
    matters: ShownThreshold | None
    detectable: ShownThreshold | None
    room: str
    steps: tuple[str, ...]
    none: str
    gained: bool


def judge_change(
    definition: Definition,
    scale: Scale,
    before: PrintedScore,
    after: PrintedScore,
    since: str,
    *,
    from_baseline: bool,
    year: int | None,
    operated: Operated,
) -> ChangeVerdict:
    """The percent of the possible improvement, and what a threshold says, are told from the baseline only: thresholds were found
    between the time before surgery and some time after it.

    `year` of the score after, None before surgery. None is used within the first year, when shoulders still recover: the project's own
    rule, no source. None is used after a revision either, since all were found after first operations.
    """
    known = chosen(definition, scale.scale, "mcid", implant=operated.implant)
    alike = known is not None and may_be_called_improved(known.threshold, operated.implant)
    matters = known if year and from_baseline and operated.first and alike else None
    detectable = error_beside(definition, scale.scale, implant=operated.implant)
    by = gain(scale, before.value, after.value)
    word, room = "", ""
    if matters is not None:
        error = detectable.threshold if detectable else None
        result = compare(scale, before.value, after.value, matters=matters.threshold, detectable=error)
        word, room = result.word, _room(scale, before) if result.no_room else ""
    elif detectable is not None:
        word = WITHIN_ERROR if is_within_error(detectable.threshold, fraction_of(by)) else BEYOND_ERROR
    steps = [_subtraction(scale, before, after, by)]
    percent = ""
    if from_baseline:
        percent, line = _percent(scale, before, after, by)
        steps.append(line)
    return ChangeVerdict(
        since=since,
        before=before,
        after=after,
        by=_by(by, scale),
        percent=percent,
        word=word,
        matters=matters,
        detectable=detectable,
        room=room,
        steps=tuple(steps),
        gained=by >= 0,
        none=_why_none(definition, scale, year, from_baseline=from_baseline, known=known is not None)
        if operated.first
        else AFTER_REVISION,
    )


def _why_none(definition: Definition, scale: Scale, year: int | None, *, from_baseline: bool, known: bool) -> str:
    if not known:
        return why_none(definition, scale.scale, "mcid")
    if year is None:
        return BEFORE_SURGERY
    if not from_baseline:
        return IN_BETWEEN
    return UNLIKE if year else TOO_SOON


def _room(scale: Scale, before: PrintedScore) -> str:
    room = gain(scale, before.value, best_of(scale))
    if not room:
        return "From there nothing could be gained."
    return f"Only {points(room, scale)} could be gained, less than counts as improved."


def _by(by: float, scale: Scale) -> str:
    return f"{points(by, scale)} {'better' if by > 0 else 'worse'}" if by else "no change"


def _subtraction(scale: Scale, before: PrintedScore, after: PrintedScore, by: float) -> str:
    first, second = (after, before) if scale.better == "higher" else (before, after)
    return f"gain: {first.value:.10g} - {second.value:.10g} = {by:.10g} ({scale.better} is better)"


def _percent(scale: Scale, before: PrintedScore, after: PrintedScore, by: float) -> tuple[str, str]:
    """As it is printed, and how it comes about."""
    share = percent_of_possible(scale, before.value, after.value)
    best = best_of(scale)
    if share is None:
        said = "percent of the possible improvement: undefined, the score before was the best there is"
        return said, said
    room = gain(scale, before.value, best)
    line = f"possible: from {before.value:.10g} to {best:.10g} = {room:.10g}; {by:.10g} / {room:.10g} x 100 = {half_up(share, 2)} %"
    if share <= 0:
        return ("" if share else "none of the possible improvement"), line
    return f"{_whole_percent(share)}{PERCENT} of the possible improvement", line


def _whole_percent(share: float) -> str:
    """All is said of all only, and nothing of nothing."""
    text = half_up(share, 0)
    if text == "100" and share < 100:
        return "more than 99"
    return "less than 1" if text == "0" else text
