"""Scores from answers. A score says how it came about: instrument, version, method, what was answered."""

from collections import Counter
from collections.abc import Container, Mapping, Sequence
from functools import lru_cache, partial
from typing import Any, NamedTuple, cast

from scoring.answers import NOT_GIVEN, Answer, read_sheet
from scoring.definition import Better, Definition, Item
from scoring.steps import Number, number_of
from scoring.work import Unit, Values, Working, units_of, values_of, work

# Goes up when the same answers could give another score. Kept with every score.
SCORING_VERSION = "1"

STATE_WORDS = {
    "declined": "declined",
    "skipped": "skipped",
    "not_reached": "not reached",
    "not_applicable": "not applicable",
    NOT_GIVEN: "not answered",
}


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
    before: tuple[Any, ...]
    whole: tuple[Any, ...]


class _Plan(NamedTuple):
    """`groups` are the distinct lists of items; a unit's `group` is a place in it. `accepted`: numbers by item. `order`: the
    scales as the definition has them; the frames stand in working order.

    An item that hangs on another accepts none here: a sheet with such items is read in full.
    """

    frames: tuple[_Frame, ...]
    groups: tuple[tuple[str, ...], ...]
    accepted: tuple[tuple[str, Container[object]], ...]
    order: tuple[str, ...]


@lru_cache(maxsize=256)
def _plan(definition: Definition) -> _Plan:
    units = units_of(definition)
    groups = {unit.group: unit.names for unit in units}
    accepted = tuple((each.item, _accepted(each)) for each in definition.items)
    return _Plan(
        tuple(_frame(definition, unit) for unit in units), tuple(groups.values()), accepted, tuple(definition.by_scale)
    )


def _accepted(item: Item) -> Container[object]:
    if item.asked_if is not None:
        return ()
    return item.numbers if isinstance(item.numbers, range) else frozenset(item.numbers)


def _frame(definition: Definition, unit: Unit) -> _Frame:
    scale, count = unit.scale, len(unit.names)
    flags = ("bound",) if scale.missing.name == "fill" else ()
    whole = (count, count, scale.method, scale.range, scale.better, flags, SCORING_VERSION)
    return _Frame(unit, unit.plain, unit.group, (definition.id, definition.version, scale.scale), whole)


def score(definition: Definition, answers: Mapping[str, Answer]) -> tuple[ScaleScore, ...]:
    """Every scale, in the order of the definition, of answers that have been checked.

    An item that is not there was not answered.
    """
    plan = _plan(definition)
    return _scores(plan, [values_of(names, answers) for names in plan.groups], answers)


def score_sheet(definition: Definition, values: Mapping[str, object]) -> tuple[ScaleScore, ...]:
    """`score(definition, read_sheet(definition, values))`, sooner when every item is answered: for many sheets."""
    plan = _plan(definition)
    for name, numbers in plan.accepted:
        value = values.get(name)
        if type(value) is not int or value not in numbers:
            return score(definition, read_sheet(definition, values))
    if len(values) != len(plan.accepted):
        return score(definition, read_sheet(definition, values))
    sheet = cast("Mapping[str, int]", values)
    return _scores(plan, [[sheet[name] for name in names] for names in plan.groups], {})


def _scores(plan: _Plan, sheets: Sequence[Values], answers: Mapping[str, Answer]) -> tuple[ScaleScore, ...]:
    totals = [None if None in values else sum(values) for values in sheets]  # type: ignore[arg-type]
    worked: dict[str, Working] = {}
    results: dict[str, ScaleScore] = {}
    for frame in plan.frames:
        unit, plain, group, before, whole = frame
        total = totals[group]
        if plain and total is not None:
            results[before[2]] = _made((*before, total, "scored", None, *whole))
        else:
            worked[before[2]] = working = work(unit, sheets[group], answers, worked)
            results[before[2]] = _result(frame, working, sheets[group], answers, worked)
    return tuple([results[name] for name in plan.order])


def workings(definition: Definition, answers: Mapping[str, Answer]) -> dict[str, tuple[Unit, Working]]:
    """How each scale was worked out, for an explanation."""
    worked: dict[str, Working] = {}
    found: dict[str, tuple[Unit, Working]] = {}
    for unit in (frame.unit for frame in _plan(definition).frames):
        worked[unit.scale.scale] = working = work(unit, values_of(unit.names, answers), answers, worked)
        found[unit.scale.scale] = (unit, working)
    return found


def _result(
    frame: _Frame,
    working: Working,
    values: Values,
    answers: Mapping[str, Answer],
    worked: Mapping[str, Working],
) -> ScaleScore:
    blanks = values.count(None)
    value = None if working.value is None else number_of(working.value)
    status = "not_scored" if value is None else "prorated" if working.prorated else "scored"
    reason = _reason(frame.unit, working, answers, blanks, worked) if blanks else None
    result = _made((*frame.before, value, status, reason, len(values) - blanks, *frame.whole[1:]))
    return result._replace(flags=result.flags + working.flags) if working.flags else result


def _reason(
    unit: Unit, working: Working, answers: Mapping[str, Answer], blanks: int, worked: Mapping[str, Working]
) -> str:
    """Counts, not items: it stays short with thirty items, and `explain` names them."""
    states = Counter(answers[name].state if name in answers else NOT_GIVEN for name in unit.names)
    why = ", ".join(f"{states[state]} {word}" for state, word in STATE_WORDS.items() if states[state])
    parts = [f"{_what_happened(unit, working, blanks, worked)} ({why})", *working.flags]
    return "; ".join(parts)


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
