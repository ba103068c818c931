"""Which scores the course draws: pain, own rating, and the function instrument that was answered most or that the address names."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass

from scoring.definition import Definition, Scale
from scoring.library import Library
from server.outcomes.series.course import Course, Measure, Said, answers_to, course_of, other_versions
from server.staff.page import words
from server.staff.series.asked import Asked

PAIN, RATING = "pain", "sane"
# What is a state, a change, general health or satisfaction says nothing of function by itself.
NOT_FUNCTION = frozenset({PAIN, RATING, "pass", "global-change", "promis-global", "satisfaction"})
FUNCTION = "function"


@dataclass(frozen=True)
class Tracked:
    """One panel. `name`: which of the three it is; `title` as its heading has it. `other_versions`: how often each of them was answered."""

    name: str
    title: str
    definition: Definition
    course: Course
    other_versions: Mapping[str, int]

    @property
    def scale(self) -> Scale:
        return self.definition.scale_of_change


@dataclass(frozen=True)
class Choice:
    """A function instrument that was answered, and how often."""

    definition: Definition
    answers: int
    chosen: bool


def scale_key(definition: Definition) -> str:
    """As answers have it: `sst@1/total`."""
    return f"{definition.spec}/{definition.scale_of_change.scale}"


def function_choices(library: Library, answers: Mapping[str, int], wanted: str) -> list[Choice]:
    """Those that were answered, the one answered most first. `wanted`: the spec that the address names, if any was answered."""
    found = [
        (each, answers[scale_key(each)])
        for each in library.definitions.values()
        if each.kind == "instrument" and each.id not in NOT_FUNCTION and answers.get(scale_key(each))
    ]
    found.sort(key=lambda each: (-each[1], each[0].spec))
    named = [definition for definition, _answers in found if definition.spec == wanted]
    first = named[0] if named else found[0][0] if found else None
    return [Choice(definition, count, definition is first) for definition, count in found]


def tracked(asked: Asked, library: Library, said: Said) -> tuple[list[Tracked], list[Choice]]:
    """The panels in their order, those only that somebody answered; and what else could stand in the first."""
    answers = answers_to(said)
    choices = function_choices(library, answers, asked.options.get(FUNCTION, ""))
    wanted = [(FUNCTION, words.gettext("Function"), next((each.definition for each in choices if each.chosen), None))]
    wanted += [
        (PAIN, words.gettext("Pain"), _most_answered(library.definitions.values(), PAIN, answers)),
        (RATING, words.gettext("Own rating"), _most_answered(library.definitions.values(), RATING, answers)),
    ]
    found = [
        Tracked(
            name,
            title,
            definition,
            course_of(asked.followings, asked.strip, said, measure_of(definition)),
            other_versions(answers, measure_of(definition)),
        )
        for name, title, definition in wanted
        if definition is not None
    ]
    return found, choices


def measure_of(definition: Definition) -> Measure:
    scale = definition.scale_of_change
    return Measure(scale_key(definition), float(scale.range[0]), float(scale.range[1]), scale.better == "higher")


def _most_answered(definitions: Iterable[Definition], instrument: str, answers: Mapping[str, int]) -> Definition | None:
    """Of the versions of one instrument."""
    versions = [each for each in definitions if each.id == instrument and answers.get(scale_key(each))]
    return max(versions, key=lambda each: (answers[scale_key(each)], int(each.version)), default=None)
