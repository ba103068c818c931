"""A response's sealed answers into item facts. Whatever could name a person is left out here, a second time after intake."""

from dataclasses import replace

from scoring.definition import Item
from scoring.library import Library, UnknownInstrument
from server.crypto.fields import FieldProblem, PatientCipher
from server.exports.facts import ItemFacts
from server.exports.missing import ANSWERED_FOR, ITEM
from server.forms.stored import StoredAnswer, StoredAnswersProblem, StoredPart, open_answers
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
