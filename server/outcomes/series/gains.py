"""How many gained as much as a published threshold of change: within each person, never a difference of groups."""

from collections import Counter
from collections.abc import Hashable, Mapping
from dataclasses import dataclass

from scoring.change import best_of, gain
from scoring.definition import Definition, Scale, Threshold
from scoring.printed_decimals import is_reached
from scoring.steps import fraction_of
from scoring.threshold_choice import choose_threshold, found_with
from server.fields.operation_words import IMPLANTS, threshold_type
from server.outcomes.series.course import Change


@dataclass(frozen=True)
class Gains:
    """`reached` of `n`, of so many `people`, gained the threshold or more; `no_room` of the others stood too near to the best score
    before to gain it.

    `found_elsewhere`: for how many it was not found after the same operation in people with such an implant, so that nobody of them is
    called improved by it.
    """

    threshold: Threshold
    reached: int
    n: int
    people: int
    no_room: int
    found_elsewhere: int


def gains_in(change: Change, definition: Definition, scale: Scale) -> list[Gains]:
    """By the smallest change that matters, as scoring.threshold_choice.RULE chooses it for each shoulder's implant type.

    One for each threshold that is used for somebody, the one of most first; a shoulder for which none may be used is in none.
    """
    types = {implant: threshold_type(implant) if implant in IMPLANTS else None for implant in set(change.implants)}
    chosen = {
        implant: choose_threshold(definition, scale.scale, "mcid", implant=like) for implant, like in types.items()
    }
    found: dict[int, list[tuple[float, float, str]]] = {}
    persons: dict[int, set[Hashable]] = {}
    for pair, implant in zip(change.pairs, change.implants, strict=True):
        threshold = chosen[implant]
        if threshold is not None:
            number = definition.thresholds.index(threshold)
            found.setdefault(number, []).append((pair.before, pair.after, implant))
            persons.setdefault(number, set()).add(pair.person)
    made = [
        _gains(definition.thresholds[number], scale, pairs, types, len(persons[number]))
        for number, pairs in found.items()
    ]
    return sorted(made, key=lambda each: -each.n)


def _gains(
    threshold: Threshold,
    scale: Scale,
    pairs: list[tuple[float, float, str]],
    types: Mapping[str, str | None],
    persons: int,
) -> Gains:
    reached = no_room = 0
    for (before, after), people in Counter((before, after) for before, after, _implant in pairs).items():
        if is_reached(threshold, fraction_of(gain(scale, before, after))):
            reached += people
        elif not is_reached(threshold, fraction_of(gain(scale, before, best_of(scale)))):
            no_room += people
    elsewhere = sum(not found_with(threshold, types[implant]) for _before, _after, implant in pairs)
    return Gains(threshold, reached, len(pairs), persons, no_room, elsewhere)
