"""Change within one shoulder on the main scale of each instrument that was answered: which two scores are compared."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from functools import partial

from scoring.change import best_of, worst_of
from scoring.definition import Definition, Scale
from scoring.library import Library
from server.fields.operation_words import threshold_type
from server.staff.page.threshold_text import ShownThreshold
from server.staff.patient.acceptable_state import Level, OwnAnswer, level_reached, own_answer_of
from server.staff.patient.change_verdict import ChangeVerdict, judge_change
from server.staff.patient.patient_record import Record, Side, Step
from server.staff.patient.printed_score import PrintedScore, format_score, score_href
from server.staff.patient.score_series import TrackedInstrument, tracked_instruments


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


@dataclass(frozen=True)
class SideChange:
    side: str
    scales: tuple[ScaleChange, ...]
    said: OwnAnswer | None


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
            found.append(SideChange(side.side, scales, own_answer_of(side)))
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


def before_surgery(side: Side) -> Step | None:
    """The last form answered before the first operation; one recalled afterwards is no such thing, nor one before a revision."""
    first = next((each for each in side.operations if each.cancelled_on is None), None)
    found = [step for step in _in_time(side) if step.code.is_before_surgery and step.operation is first]
    return found[-1] if found else None


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
    waits = "No answer since then yet." if step.code.is_before_surgery else "One answer so far, none from before."
    return ScaleChange(
        anchor=f"change-{side.side}-{definition.id}{f'-{definition.version}' if asked.one_of_several else ''}",
        title=asked.title,
        definition=definition,
        last=last,
        end=_end(scale, last.value),
        changes=changes,
        nothing="" if changes else waits,
        level=level_reached(step, last, definition, scale),
    )


def _end(scale: Scale, value: float) -> str:
    if value == best_of(scale):
        return "the best score there is; no further improvement can show"
    return "the worst score there is; no further loss can show" if value == worst_of(scale) else ""


def _changes(
    side: Side, scored: Sequence[tuple[Step, PrintedScore]], definition: Definition, scale: Scale
) -> Iterator[ChangeVerdict]:
    """Of the last score: since before surgery, since before the revision it comes after, since the score before it."""
    last_step, last = scored[-1]
    tell = partial(
        judge_change,
        definition,
        scale,
        year=last_step.code.full_years,
        implant=threshold_type(last_step.operation.implant_type),
        after=last,
    )
    readings = {id(step): found for step, found in scored}
    baselines = [(before_surgery(side), _before_words(side))]
    if last_step.after_revision:
        own = [step for step, _found in scored if step.code.is_before_surgery]
        own = [step for step in own if step.operation is last_step.operation]
        baselines += [(step, "since before the revision") for step in own[-1:]]
    for step, since in baselines:
        if step is not None and step is not last_step and id(step) in readings:
            early = ", answered early" if step.timepoint.window_state == "early" else ""
            before = readings[id(step)]
            yield tell(before=before, since=f"{since}{early}", from_baseline=True)
    previous = scored[-2] if len(scored) > 1 else None
    if previous is not None and not any(previous[0] is step for step, _since in baselines):
        since = f"since {previous[1].when}"
        yield tell(before=previous[1], since=since, from_baseline=False)


def _before_words(side: Side) -> str:
    standing = [each for each in side.operations if each.cancelled_on is None]
    return f"since before {'the first operation' if len(standing) > 1 else 'surgery'}"
