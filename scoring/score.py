"""Scores from answers. A score says how it came about: instrument, version, method, what was answered."""

from collections import Counter
from collections.abc import Container, Mapping, Sequence
from functools import lru_cache, partial
from typing import Any, NamedTuple, cast

from scoring.answers import NOT_GIVEN, Answer, read_sheet
from scoring.definition import Better, Definition, Item
from scoring.steps import Number, number_of
from scoring.work import Unit, Values, Working, units_of, values_of, work, work_sum

# Goes up when the same answers could give another score. Kept with every score.
SCORING_VERSION = "1"

STATE_WORDS = {
    "declined": "declined",
    "skipped": "skipped",
    "not_reached": "not reached",
    "not_applicable": "not applicable",
    NOT_GIVEN: "not answered",
}
# Sums of one instrument whose scores are kept: a list of a million sheets brings the same few sums again and again.
MOST_KNOWN = 4096


class ScaleScore(NamedTuple):
    """One scale of one answer sheet. `items` counts what the scale needs, `answered` what it got.

    `flags`: `bound`, or words on a rule for blanks that was used and has no published source that was read.
    """

    instrument: str
    version: str
    scale: str
    value: Number | None
    status: str  # scored, prorated or not_scored
    reason: str | None
    answered: int
    items: int
    method: str
    range: tuple[Number, Number]
    better: Better
    flags: tuple[str, ...] = ()
    scoring_version: str = SCORING_VERSION


_made = partial(tuple.__new__, ScaleScore)  # what _make does, without its check


class _Frame(NamedTuple):
    """A unit and the parts of its ScaleScore that no answer changes; `whole` is the end of one without a blank."""

    unit: Unit
    plain: bool
    group: int
    built_on: bool
    before: tuple[Any, ...]
    whole: tuple[Any, ...]


class _Plan(NamedTuple):
    """`groups` are the distinct lists of items; a unit's `group` is a place in it. `accepted`: numbers by item. `order`: the
    scales as the definition has them; the frames stand in working order.

    `by_sums`: the scores of a whole sheet follow from its sums over the groups; `known` keeps those of the sums that came up.

    An item that hangs on another accepts none here: a sheet with such items is read in full.
    """

    frames: tuple[_Frame, ...]
    groups: tuple[tuple[str, ...], ...]
    accepted: tuple[tuple[str, Container[object]], ...]
    order: tuple[str, ...]
    by_sums: bool
    known: dict[tuple[int, ...], tuple[ScaleScore, ...]]


@lru_cache(maxsize=256)
def _plan(definition: Definition) -> _Plan:
    units = units_of(definition)
    groups = {unit.group: unit.names for unit in units}
    accepted = tuple((each.item, _accepted(each)) for each in definition.items)
    frames, order = tuple(_frame(definition, unit) for unit in units), tuple(definition.by_scale)
    by_sums = all(_follows_from_sum(unit) for unit in units)
    return _Plan(frames, tuple(groups.values()), accepted, order, by_sums, {})


def _follows_from_sum(unit: Unit) -> bool:
    """Whether the value of a whole sheet depends on nothing but the sum of its items, or on scales that do."""
    rule = unit.scale.rule
    return bool(rule.scales) or (rule.name in ("sum", "value", "mean") and not any(rule.each))


def _accepted(item: Item) -> Container[object]:
    if item.asked_if is not None:
        return ()
    return item.numbers if isinstance(item.numbers, range) else frozenset(item.numbers)


def _frame(definition: Definition, unit: Unit) -> _Frame:
    scale, count = unit.scale, len(unit.names)
    built_on = any(scale.scale in each.rule.scales for each in definition.scales)
    flags = ("bound",) if scale.missing.name == "fill" else ()
    whole = (count, count, scale.method, scale.range, scale.better, flags, SCORING_VERSION)
    return _Frame(unit, unit.plain, unit.group, built_on, (definition.id, definition.version, scale.scale), whole)


def score(definition: Definition, answers: Mapping[str, Answer]) -> tuple[ScaleScore, ...]:
    """Every scale, in the order of the definition, of answers that have been checked.

    An item that is not there was not answered.
    """
    plan = _plan(definition)
    return _scores(plan, [values_of(names, answers) for names in plan.groups], answers)


def score_sheet(definition: Definition, values: Mapping[str, object]) -> tuple[ScaleScore, ...]:
    """`score(definition, read_sheet(definition, values))`, sooner where every item has a number or None: for many sheets."""
    plan, blank = _plan(definition), False
    for name, numbers in plan.accepted:
        value = values.get(name)
        if type(value) is not int or value not in numbers:
            if value is not None or not numbers or name not in values:
                return score(definition, read_sheet(definition, values))
            blank = True
    if len(values) != len(plan.accepted):
        return score(definition, read_sheet(definition, values))
    sheet = cast("Mapping[str, int | None]", values)
    sheets: list[Values] = [[sheet[name] for name in names] for names in plan.groups]
    if blank or not plan.by_sums:
        return _scores(plan, sheets, {})
    sums = tuple([sum(cast("list[int]", numbers)) for numbers in sheets])
    found = plan.known.get(sums)
    if found is None:
        if len(plan.known) >= MOST_KNOWN:
            plan.known.clear()
        found = plan.known[sums] = _scores(plan, sheets, {})
    return found


def _scores(plan: _Plan, sheets: Sequence[Values], answers: Mapping[str, Answer]) -> tuple[ScaleScore, ...]:
    given = [[value for value in values if value is not None] for values in sheets]
    totals = [sum(values) for values in given]
    whys: list[str | None] = [None] * len(sheets)
    worked: dict[str, Working] = {}
    results: dict[str, ScaleScore] = {}
    for frame in plan.frames:
        unit, plain, group, built_on, before, whole = frame
        total, answered = totals[group], len(given[group])
        blanks = len(unit.names) - answered
        if plain and not blanks and not built_on:
            results[before[2]] = _made((*before, total, "scored", None, *whole))
            continue
        working = work_sum(unit, total, answered) if plain else None
        worked[before[2]] = working = working or work(unit, sheets[group], answers, worked)
        why = whys[group]
        if blanks and why is None:
            why = whys[group] = _why(unit.names, sheets[group], answers)
        results[before[2]] = _result(frame, working, blanks, why, worked)
    return tuple([results[name] for name in plan.order])


def workings(definition: Definition, answers: Mapping[str, Answer]) -> dict[str, tuple[Unit, Working]]:
    """How each scale was worked out, for an explanation."""
    worked: dict[str, Working] = {}
    found: dict[str, tuple[Unit, Working]] = {}
    for unit in (frame.unit for frame in _plan(definition).frames):
        worked[unit.scale.scale] = working = work(unit, values_of(unit.names, answers), answers, worked)
        found[unit.scale.scale] = (unit, working)
    return found


def _result(frame: _Frame, working: Working, blanks: int, why: str | None, worked: Mapping[str, Working]) -> ScaleScore:
    value = None if working.value is None else number_of(working.value)
    if not blanks and not working.flags:
        return _made((*frame.before, value, "scored", None, *frame.whole))
    status = "not_scored" if value is None else "prorated" if working.prorated else "scored"
    reason = _reason(frame.unit, working, why, blanks, worked) if why is not None else None
    count, _same, method, limits, better, flags, version = frame.whole
    return _made(
        (
            *frame.before,
            value,
            status,
            reason,
            count - blanks,
            count,
            method,
            limits,
            better,
            flags + working.flags,
            version,
        )
    )


def _why(names: Sequence[str], values: Values, answers: Mapping[str, Answer]) -> str:
    """How many of the blanks are of which kind."""
    if not answers:
        return f"{sum([value is None for value in values])} {STATE_WORDS[NOT_GIVEN]}"
    states = Counter(answers[name].state if name in answers else NOT_GIVEN for name in names)
    return ", ".join(f"{states[state]} {word}" for state, word in STATE_WORDS.items() if states[state])


def _reason(unit: Unit, working: Working, why: str, blanks: int, worked: Mapping[str, Working]) -> str:
    """Counts, not items: it stays short with thirty items, and `explain` names them."""
    return "; ".join((f"{_what_happened(unit, working, blanks, worked)} ({why})", *working.flags))


def _what_happened(unit: Unit, working: Working, blanks: int, worked: Mapping[str, Working]) -> str:
    total, missing = len(unit.names), unit.scale.missing
    answered = f"{total - blanks} of {total} items answered"
    if unit.scale.rule.scales:
        lacking = [name for name in unit.scale.rule.scales if worked[name].value is None]
        spread = [name for name in unit.scale.rule.scales if worked[name].prorated]
        return (
            f"{answered}, no value for {', '.join(lacking)}" if lacking else f"{answered}, {', '.join(spread)} prorated"
        )
    if missing.name == "fill":
        return (
            f"{blanks} of {total} items blank, each counted as {missing.value}"
            if blanks < total
            else "no item answered"
        )
    if missing.name == "complete":
        return f"{answered}, all needed"
    if working.value is not None:
        return f"{answered}, prorated"
    others = " and the rest not applicable" if missing.name == "applicable" else ""
    return f"{answered}, {missing.needs} needed{others}"
