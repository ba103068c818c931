"""From answers as they are kept to what a row of scores says: the same when a form is recorded and when its scores are rebuilt."""

from collections.abc import Iterator, Mapping, Sequence
from typing import Any, NamedTuple

from scoring.library import Library
from scoring.parts import score_part
from scoring.score import ScaleScore

Part = Mapping[str, Any]
_SAME = len(("instrument", "version", "scale", "value", "status", "reason", "answered", "items", "method"))
assert ScaleScore._fields[_SAME - 1] == "method"


class Stated(NamedTuple):
    """What a row of the table `score` says, under the names of its columns: first what a ScaleScore begins with."""

    instrument: str
    instrument_version: str
    scale: str
    value: float | None
    status: str
    reason: str | None
    answered: int
    items: int
    method: str
    text_id: str
    scoring_version: str


def scores_of(parts: Sequence[Part], library: Library) -> Iterator[Stated]:
    """Every scale of every part, by the very instrument version and text that the part names.

    Raises KeyError for a version that the library does not hold, AnswerProblem for answers that do not fit theirs.
    """
    for part in parts:
        text_id = part["text_id"]
        for each in score_part(library.definitions[part["instrument"]], part["answers"]):
            yield _made((*each[:_SAME], text_id, each.scoring_version))


_made = Stated._make
