"""One change of one person between two scores, in words. The arithmetic is scoring.change's."""

from collections.abc import Mapping
from dataclasses import dataclass

from scoring.change import (
    BEYOND_ERROR,
    IMPROVED,
    IN_POINTS,
    UNCHANGED,
    WITHIN_ERROR,
    best_of,
    compare,
    gain,
    is_within_error,
    percent_of_possible,
)
from scoring.definition import Definition, Scale
from scoring.printed_decimals import half_up
from scoring.steps import fraction_of
from scoring.threshold_choice import may_be_called_improved
from server.staff.page import words
from server.staff.page.threshold_text import ShownThreshold, chosen, error_beside, why_none
from server.staff.patient.printed_score import PERCENT, PrintedScore, points
from server.words.phrase import Phrase, phrase, phrase_in

TOO_SOON = phrase("within the first year no threshold is used")
BEFORE_SURGERY = phrase("before an operation no threshold is used")
IN_BETWEEN = phrase("thresholds speak of the change since surgery, not of that between two later answers")
UNLIKE = phrase("none was found by what people like these said after the same operation")
AFTER_REVISION = phrase("none that was found in revisions was read")
WORD: Mapping[str, Phrase | str] = {
    IMPROVED: phrase_in("change", "improved"),
    UNCHANGED: phrase_in("change", "unchanged"),
    WITHIN_ERROR: phrase_in("change", "within measurement error"),
    BEYOND_ERROR: phrase_in("change", "beyond measurement error"),
    IN_POINTS: "",
}


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
        word=words.say(WORD[word]) if word else "",
        matters=matters,
        detectable=detectable,
        room=room,
        steps=tuple(steps),
        gained=by >= 0,
        none=words.say(
            _why_none(definition, scale, year, from_baseline=from_baseline, known=known is not None)
            if operated.first
            else AFTER_REVISION
        ),
    )


def _why_none(
    definition: Definition, scale: Scale, year: int | None, *, from_baseline: bool, known: bool
) -> Phrase | str:
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
        return words.gettext("From there nothing could be gained.")
    return words.gettext("Only %(points)s could be gained, less than counts as improved.") % {
        "points": points(room, scale)
    }


def _by(by: float, scale: Scale) -> str:
    if not by:
        return words.gettext("no change")
    said = words.gettext("%(points)s better") if by > 0 else words.gettext("%(points)s worse")
    return said % {"points": points(by, scale)}


def _subtraction(scale: Scale, before: PrintedScore, after: PrintedScore, by: float) -> str:
    first, second = (after, before) if scale.better == "higher" else (before, after)
    line = f"{first.value:.10g} - {second.value:.10g} = {by:.10g}"
    if scale.better == "higher":
        return words.gettext("gain: %(line)s (higher is better)") % {"line": line}
    return words.gettext("gain: %(line)s (lower is better)") % {"line": line}


def _percent(scale: Scale, before: PrintedScore, after: PrintedScore, by: float) -> tuple[str, str]:
    """As it is printed, and how it comes about."""
    share = percent_of_possible(scale, before.value, after.value)
    best = best_of(scale)
    if share is None:
        said = words.gettext("percent of the possible improvement: undefined, the score before was the best there is")
        return said, said
    room = gain(scale, before.value, best)
    line = words.gettext("possible: from %(from)s to %(to)s = %(room)s; %(share)s") % {
        "from": f"{before.value:.10g}",
        "to": f"{best:.10g}",
        "room": f"{room:.10g}",
        "share": f"{by:.10g} / {room:.10g} x 100 = {half_up(share, 2)} %",
    }
    if share <= 0:
        return ("" if share else words.gettext("none of the possible improvement")), line
    said = words.gettext("%(share)s of the possible improvement")
    return said % {"share": f"{_whole_percent(share)}{PERCENT}"}, line


def _whole_percent(share: float) -> str:
    """All is said of all only, and nothing of nothing."""
    text = half_up(share, 0)
    if text == "100" and share < 100:
        return words.gettext("more than %(number)s") % {"number": 99}
    return words.gettext("less than %(number)s") % {"number": 1} if text == "0" else text
