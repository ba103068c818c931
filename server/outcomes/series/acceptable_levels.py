"""Published levels of scores that stand for an acceptable state: which one is used for a shoulder, and whether an answer reaches it."""

from collections import Counter
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from functools import cached_property

from scoring.acceptable import by_threshold
from scoring.definition import Definition, Threshold
from scoring.threshold_choice import choose_threshold, found_with
from server.fields.operation_words import IMPLANTS, threshold_type
from server.outcomes.series.followed import Answer
from server.outcomes.series.row import Row

# The scales that have a published level, the one of the patient's own rating first.
SCALES = (("sane", "sane"), ("sst", "total"), ("ases", "total"), ("pain", "pain"))
FIRST_YEAR = 1  # before it a level of a score says nothing


@dataclass(frozen=True)
class Level:
    """A published level and for how many shoulders it is used; for `elsewhere` of them it was found in people with other implants."""

    definition: Definition
    threshold: Threshold
    shoulders: int
    elsewhere: int


@dataclass(frozen=True)
class Levels:
    """By key of a score, such as `sane@1/sane`. What was worked out once for a score, an implant type and a value is kept."""

    definitions: Mapping[str, Definition]
    _known: dict[tuple[str, str, float], bool | None] = field(default_factory=dict)

    @cached_property
    def questions(self) -> tuple[str, ...]:
        """The patient's own yes or no, in each version of the question."""
        return tuple(
            f"{definition.spec}/acceptable" for definition in self.definitions.values() if definition.id == "pass"
        )

    @property
    def keys(self) -> tuple[str, ...]:
        """Every score that has levels at all, in the order in which they are looked for."""
        return tuple(
            f"{definition.spec}/{scale}"
            for instrument, scale in SCALES
            for definition in self.definitions.values()
            if definition.id == instrument and any(each.kind == "pass" for each in definition.thresholds)
        )

    def reached(self, row: Row, answer: Answer, key: str) -> bool | None:
        """None without this score, or where no level may be used for such a shoulder."""
        value = answer.scores.get(key)
        if value is None:
            return None
        kind = (key, row.implant_type, value)
        if kind not in self._known:
            self._known[kind] = self._reached(*kind)
        return self._known[kind]

    def used(self, rows: Iterable[Row], key: str) -> list[Level]:
        """The levels of a score that are used for these shoulders, the most frequent first."""
        definition = self.definitions[key.partition("/")[0]]
        found: dict[Threshold, Counter[bool]] = {}
        for implant_type, shoulders in Counter(row.implant_type for row in rows).items():
            threshold = self._threshold(key, implant_type)
            if threshold is not None:
                same = found_with(threshold, _published_type(implant_type))
                found.setdefault(threshold, Counter())[same] += shoulders
        levels = [Level(definition, each, counts.total(), counts[False]) for each, counts in found.items()]
        return sorted(levels, key=lambda level: -level.shoulders)

    def _reached(self, key: str, implant_type: str, value: float) -> bool | None:
        threshold = self._threshold(key, implant_type)
        if threshold is None:
            return None
        scale = self.definitions[key.partition("/")[0]].by_scale[threshold.scale]
        return by_threshold(scale, threshold, value, year=FIRST_YEAR).acceptable

    def _threshold(self, key: str, implant_type: str) -> Threshold | None:
        spec, _, scale = key.partition("/")
        return choose_threshold(self.definitions[spec], scale, "pass", implant=_published_type(implant_type))


def _published_type(implant_type: str) -> str | None:
    return threshold_type(implant_type) if implant_type in IMPLANTS else None
