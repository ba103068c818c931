"""A stored score beside its explanation, which is made now from the stored answers and kept nowhere."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

from scoring.answers import Answer
from scoring.definition import Definition, Scale
from scoring.explain import Explained, explain_scales
from scoring.score import ScaleScore
from server.models import Score
from server.staff.page import words
from server.staff.page.rule_text import items_in_words
from server.staff.patient.printed_score import format_score, scale_anchor
from server.words.phrase import phrase_in

# Why an item has no answer, each in its own words.
BLANK = {
    "declined": phrase_in("blank", "preferred not to answer"),
    "skipped": phrase_in("blank", "skipped by rule, because of an earlier answer"),
    "not_reached": phrase_in("blank", "not reached"),
    "not_applicable": phrase_in("blank", "does not apply"),
    "not_given": phrase_in("blank", "not answered"),
}


@dataclass(frozen=True)
class Blank:
    item: str
    topic: str
    why: str


@dataclass(frozen=True)
class Explanation:
    """One scale of one answered instrument. `stored` is None where no score was stored for it; `now` is worked out now.

    `used`: the items with an answer, in words; `earlier`: score rows that a later scoring replaced, the newest first.
    """

    anchor: str
    scale: Scale
    stored: Score | None
    now: ScaleScore
    shown: str
    shown_now: str
    used: str
    blanks: tuple[Blank, ...]
    arithmetic: tuple[str, ...]
    earlier: tuple[Score, ...]

    @property
    def status(self) -> str:
        return self.stored.status if self.stored else self.now.status

    @property
    def agrees(self) -> bool:
        """Whether the answers, worked out now, give what is stored."""
        return self.stored is not None and (self.stored.value, self.stored.status) == (self.now.value, self.now.status)

    @property
    def is_open(self) -> bool:
        """Whether a reader should see the explanation without asking for it."""
        return self.status != "scored" or not self.agrees


def explanations(
    definition: Definition, answers: Mapping[str, Answer], scores: Sequence[Score]
) -> tuple[Explanation, ...]:
    """`answers` as they are stored, by item; `scores` all rows of this instrument and response, replaced ones too."""
    return tuple(_explanation(definition, each, answers, scores) for each in explain_scales(definition, answers))


def _explanation(
    definition: Definition, explained: Explained, given: Mapping[str, Answer], scores: Sequence[Score]
) -> Explanation:
    scale = explained.scale
    rows = [each for each in scores if each.scale == scale.scale]
    stored = next((each for each in rows if each.superseded_at is None), None)
    answered = [name for name in explained.items if name in given and given[name].state == "answered"]
    value = stored.value if stored else explained.result.value
    return Explanation(
        anchor=scale_anchor(definition.id, scale.scale),
        scale=scale,
        stored=stored,
        now=explained.result,
        shown=_shown(definition, scale, value),
        shown_now=_shown(definition, scale, explained.result.value),
        used=items_in_words(definition, answered),
        blanks=tuple(_blanks(definition, explained.items, given)),
        arithmetic=explained.arithmetic,
        earlier=earlier_of(rows),
    )


def earlier_of(scores: Iterable[Score]) -> tuple[Score, ...]:
    """The replaced ones, the newest first."""
    return tuple(sorted((each for each in scores if each.superseded_at), key=lambda each: each.id, reverse=True))


def _shown(definition: Definition, scale: Scale, value: float | None) -> str:
    return words.gettext("no score") if value is None else format_score(definition, scale, value)


def _blanks(definition: Definition, names: Sequence[str], given: Mapping[str, Answer]) -> Iterable[Blank]:
    for name in names:
        state = given[name].state if name in given else "not_given"
        if state != "answered":
            yield Blank(name, definition.by_item[name].topic, words.say(BLANK[state]))
