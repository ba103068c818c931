"""A response's sealed answers and its scores into facts. Whatever could name a person is left out, a second time after intake."""

from collections.abc import Sequence
from dataclasses import replace
from math import isfinite

from scoring.definition import Item
from scoring.library import Library, UnknownInstrument
from server.crypto.fields import FieldProblem, PatientCipher
from server.exports.facts import BOUND, ItemFacts, ScoreFacts
from server.exports.folder import ExportProblem
from server.exports.missing import ANSWERED_FOR, ITEM
from server.forms.stored import StoredAnswer, StoredAnswersProblem, StoredPart, open_answers
from server.models import Score
from server.models.response import FOR_THE_PATIENT

ITEM_REASONS = frozenset(each.word for each in ITEM)


def open_items(
    sealed: bytes, answered_by: str, cipher: PatientCipher, library: Library
) -> tuple[list[ItemFacts], str | None]:
    """The items, or none and the reason `unreadable` when the answers do not open.

    Where somebody else answered, only what a form without scales asks, such as events, is told.
    """
    try:
        answers = open_answers(sealed, cipher)
    except (FieldProblem, StoredAnswersProblem):
        return [], "unreadable"
    facts = [fact for part in answers.parts for fact in _items_of(part, library)]
    if answered_by == FOR_THE_PATIENT:
        facts = [_left_empty(fact) if _is_scored(fact.instrument, library) else fact for fact in facts]
    return facts, None


def _left_empty(fact: ItemFacts) -> ItemFacts:
    return replace(fact, value=None, month=None, missing=ANSWERED_FOR.word)


def _is_scored(spec: str, library: Library) -> bool:
    """Also an instrument that the library does not hold: nobody knows what it asks."""
    return spec not in library.definitions or bool(library.definitions[spec].scales)


def _items_of(part: StoredPart, library: Library) -> list[ItemFacts]:
    known = _definition(part.instrument, library)
    return [
        _fact(part, name, answer, known.get(name))
        for name, answer in part.answers.items()
        if name not in known or not known[name].identifying
    ]


def _definition(spec: str, library: Library) -> dict[str, Item]:
    try:
        return dict(library.instrument(spec).by_item)
    except UnknownInstrument:
        return {}


def _fact(part: StoredPart, name: str, answer: StoredAnswer, item: Item | None) -> ItemFacts:
    """A number is exported as it is; a text only where the definition says that it is a month."""
    state, value = answer.state, answer.value
    is_month = item is not None and item.type == "month"
    return ItemFacts(
        instrument=part.instrument,
        item=name,
        text_id=part.text_id,
        state=state,
        value=value if isinstance(value, int) and not isinstance(value, bool) else None,
        month=value if is_month and isinstance(value, str) else None,
        missing=None if state == "answered" else state if state in ITEM_REASONS else "not_given",
    )


def score_facts(scores: Sequence[Score], items: Sequence[ItemFacts], library: Library) -> tuple[ScoreFacts, ...]:
    """The valid scores of one response, in the order in which its form asked."""
    return tuple(_score_facts(score, library) for score in _in_order(scores, items, library))


def _in_order(scores: Sequence[Score], items: Sequence[ItemFacts], library: Library) -> list[Score]:
    """As the form asks and the definitions list them, so that a score that is rebuilt later keeps the old one's place."""
    asked = {spec: place for place, spec in enumerate(dict.fromkeys(item.instrument for item in items))}

    def place(score: Score) -> tuple[int, int]:
        spec = f"{score.instrument}@{score.instrument_version}"
        scales = list(library.definitions[spec].by_scale) if spec in library.definitions else []
        at = scales.index(score.scale) if score.scale in scales else len(scales)
        return asked.get(spec, len(asked)), at

    return sorted(scores, key=place)


def _is_bound(spec: str, scale: str, library: Library) -> bool:
    """A scale that counts every blank as one answer: an end of what the score can have been."""
    found = library.definitions[spec].by_scale.get(scale) if spec in library.definitions else None
    return found is not None and found.missing.name == "fill"


def _score_facts(score: Score, library: Library) -> ScoreFacts:
    spec = f"{score.instrument}@{score.instrument_version}"
    if score.value is not None and not isfinite(score.value):
        raise ExportProblem(
            f"the stored {spec} {score.scale} of response {score.response_id} is no number; nothing was written. "
            "yearmark rescore rebuilds it from the answers"
        )
    return ScoreFacts(
        instrument=spec,
        scale=score.scale,
        text_id=score.text_id,
        value=score.value,
        status=BOUND if score.value is not None and _is_bound(spec, score.scale, library) else score.status,
        missing="not_scored" if score.value is None else None,
        reason=score.reason,
        answered=score.answered,
        items=score.items,
        method=score.method,
        scoring_version=score.scoring_version,
    )
