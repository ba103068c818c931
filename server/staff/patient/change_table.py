"""Change within one shoulder on the main scale of each instrument that was answered: which two scores are compared."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from functools import partial

from scoring.change import best_of, worst_of
from scoring.definition import Definition, Scale
from scoring.library import Library
from server.fields.operation_words import threshold_type
from server.models import Operation
from server.staff.page import words
from server.staff.page.threshold_text import ShownThreshold
from server.staff.patient.acceptable_state import Level, OwnAnswer, disagreement, level_reached, own_answer_of
from server.staff.patient.change_verdict import ChangeVerdict, Operated, judge_change
from server.staff.patient.patient_record import Record, Side, Step
from server.staff.patient.printed_score import PrintedScore, format_score, score_href
from server.staff.patient.score_series import TrackedInstrument, tracked_instruments
from server.words.phrase import Phrase, phrase

FRACTURE = phrase(
    "After an acute fracture no change since before surgery is told: what was answered then measured the broken arm."
)


@dataclass(frozen=True)
class ScaleChange:
    """One row of the table. `nothing` says why there is no change to tell."""

    anchor: str
    title: str
    definition: Definition
    last: PrintedScore
    end: str  # what it means to be at the best or worst score
    changes: tuple[ChangeVerdict, ...]
    nothing: str
    level: Level
    timepoint_id: int  # of the last answer


@dataclass(frozen=True)
class SideChange:
    """`disagree`: a sentence where own answer and published level differ."""

    side: str
    scales: tuple[ScaleChange, ...]
    said: OwnAnswer | None
    disagree: str


@dataclass(frozen=True)
class UsedThreshold:
    """A threshold that some row names, once for the whole page."""

    title: str
    definition: Definition
    threshold: ShownThreshold


def changes_of(record: Record, library: Library) -> list[SideChange]:
    """One for each shoulder with a score."""
    found = []
    for side in record.sides:
        scales = tuple(
            each for asked in tracked_instruments([side], library) if (each := _scale_change(side, asked)) is not None
        )
        if scales:
            said = own_answer_of(side)
            levels = {each.title: (each.timepoint_id, each.level) for each in scales}
            found.append(SideChange(side.side, scales, said, disagreement(said, levels)))
    return found


def thresholds_used(sides: Sequence[SideChange]) -> list[UsedThreshold]:
    found: dict[tuple[str, str], UsedThreshold] = {}
    for row in (row for side in sides for row in side.scales):
        named = [each for one in row.changes for each in (one.matters, one.detectable)]
        if row.level.state is not None and row.level.state.acceptable is not None:
            named.append(row.level.threshold)
        for threshold in (each for each in named if each is not None):
            found.setdefault(
                (row.definition.spec, threshold.anchor), UsedThreshold(row.title, row.definition, threshold)
            )
    return list(found.values())


def printed_score_of(step: Step, definition: Definition, scale: Scale) -> PrintedScore | None:
    score = step.score(definition.id, scale.scale)
    value = score.value if score is not None and score.instrument_version == definition.version else None
    if step.response is None or value is None:
        return None
    href = score_href(step.response.id, definition.id, scale.scale)
    return PrintedScore(value, format_score(definition, scale, value), href, step.in_full)


def _in_time(side: Side) -> list[Step]:
    """Without answers from before surgery that were recalled afterwards: they belong to no day."""
    return [step for step in side.answered if step.timepoint.window_state != "recalled"]


def _scale_change(side: Side, asked: TrackedInstrument) -> ScaleChange | None:
    """None without a score on the scale that is compared."""
    definition, scale = asked.definition, asked.scale
    scored = [
        (step, found) for step in _in_time(side) if (found := printed_score_of(step, definition, scale)) is not None
    ]
    if not scored:
        return None
    step, last = scored[-1]
    changes = tuple(_changes(side, scored, definition, scale))
    operation = side.operation_of(step)
    return ScaleChange(
        anchor=f"change-{side.side}-{definition.id}{f'-{definition.version}' if asked.one_of_several else ''}",
        title=asked.title,
        definition=definition,
        last=last,
        end=_end(scale, last.value),
        changes=changes,
        nothing="" if changes else _nothing(step, operation, len(scored)),
        level=level_reached(step, operation, last, definition, scale, first=side.is_first(operation)),
        timepoint_id=step.timepoint.id,
    )


def _nothing(step: Step, operation: Operation, scored: int) -> str:
    """Why no change is told."""
    if is_fracture(operation):
        return words.say(FRACTURE)
    if scored > 1:
        return words.gettext("What was answered before speaks of another operation; no change is told across two.")
    if step.code.is_before_surgery:
        return words.gettext("No answer since then yet.")
    return words.gettext("One answer so far, none from before.")


def _end(scale: Scale, value: float) -> str:
    if value == best_of(scale):
        return words.gettext("the best score there is; no further improvement can show")
    return words.gettext("the worst score there is; no further loss can show") if value == worst_of(scale) else ""


def is_fracture(operation: Operation) -> bool:
    return operation.diagnosis == "acute_fracture"


def _changes(
    side: Side, scored: Sequence[tuple[Step, PrintedScore]], definition: Definition, scale: Scale
) -> Iterator[ChangeVerdict]:
    """Of the last score: since before the operation it speaks of, and since the score before it. Never across two operations, and
    never since before an acute fracture was operated on: what was answered then measured the broken arm.
    """
    last_step, last = scored[-1]
    operation = side.operation_of(last_step)
    tell = partial(
        judge_change,
        definition,
        scale,
        year=last_step.code.full_years,
        operated=Operated(threshold_type(operation.implant_type), side.is_first(operation)),
        after=last,
    )
    baseline = side.baseline_of(operation, [step for step, _found in scored[:-1]])
    readings = {id(step): found for step, found in scored}
    if baseline is not None and last_step.operation_if_before is not operation and not is_fracture(operation):
        since = words.say(before_words(side, operation))
        if baseline.timepoint.window_state == "early":
            since = words.gettext("%(since)s, answered early") % {"since": since}
        yield tell(before=readings[id(baseline)], since=since, from_baseline=True)
    later = [step for step, _found in scored[:-1] if side.operation_of(step) is operation]
    later = [step for step in later if step.operation_if_before is not operation]
    if later:
        before = readings[id(later[-1])]
        since = words.gettext("since %(timepoint)s") % {"timepoint": before.when}
        yield tell(before=before, since=since, from_baseline=False)


def before_words(side: Side, operation: Operation) -> Phrase:
    if side.is_first(operation):
        return phrase("since before surgery")
    return phrase("since before the %(operation)s", operation=words.KIND[operation.kind])
